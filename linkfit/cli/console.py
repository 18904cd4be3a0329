"""Where output goes: results to stdout, messages and progress to stderr."""

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from rich.console import Console, RenderableType


def _console(*, stderr: bool) -> "Console":
    from rich.console import Console

    # nothing in a file's names may act as markup, emoji code or be coloured by guess
    return Console(stderr=stderr, markup=False, emoji=False, highlight=False, soft_wrap=False)


# what a shell tells of a program that SIGPIPE ended: 128 + 13
READER_GONE = 141


def _reader_gone() -> NoReturn:
    """Whoever read the results has seen enough (``| head``): end without a word."""
    # what is still buffered must not fail again when the interpreter ends
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(READER_GONE)


def show(*parts: "RenderableType") -> None:
    """Print results for a person."""
    console = _console(stderr=False)
    console.on_broken_pipe = _reader_gone  # type: ignore[method-assign]
    for part in parts:
        console.print(part)


def write_out(text: str) -> None:
    """Put `text` on stdout as it is."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        _reader_gone()


def show_json(record: dict[str, Any]) -> None:
    """Print a result for a program; ASCII only, so that no text in it acts on a terminal."""
    write_out(json.dumps(record, ensure_ascii=True, allow_nan=False, indent=2) + "\n")


def tell(text: str) -> None:
    """Say something on stderr that is not the result."""
    from linkfit.report.plain import harmless

    for line in text.splitlines():
        sys.stderr.write(harmless(line, limit=2000) + "\n")


@contextmanager
def working_on(what: str) -> Iterator[None]:
    """Show on a terminal's stderr that `what` is being done; leave a log file alone."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn("line"), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=_console(stderr=True), transient=True) as progress:
        progress.add_task(what, total=None)
        yield


@contextmanager
def following() -> Iterator[Callable[[str], None]]:
    """A function that says what is being done: one line that changes, or lines for a log file."""
    if not sys.stderr.isatty():
        yield tell
        return
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    from linkfit.report.plain import harmless

    columns = (SpinnerColumn("line"), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=_console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=None)

        def say(text: str) -> None:
            progress.reset(task, description=harmless(text, limit=200))

        yield say


@contextmanager
def reading_progress(n_files: int) -> Iterator[Callable[[str, int, int], None]]:
    """A function to call with file name, bytes read and bytes in all; it draws on a terminal."""
    if not sys.stderr.isatty():
        yield _nobody_watches
        return
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

    from linkfit.report.plain import harmless

    columns = (TextColumn("{task.description}"), BarColumn(20), DownloadColumn(),
               TimeRemainingColumn())  # fmt: skip
    with Progress(*columns, console=_console(stderr=True), transient=True) as progress:
        task = progress.add_task(f"reading {n_files} files", total=None)

        def advance(name: str, done_bytes: int, all_bytes: int) -> None:
            shown = harmless(name, limit=40)
            progress.update(task, description=shown, completed=done_bytes, total=all_bytes)

        yield advance


def _nobody_watches(_name: str, _done_bytes: int, _all_bytes: int) -> None:
    pass
