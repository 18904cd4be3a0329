"""Where output goes: results to stdout, messages and progress to stderr."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console, RenderableType


def _console(*, stderr: bool) -> "Console":
    from rich.console import Console

    # nothing in a file's names may act as markup, emoji code or be coloured by guess
    return Console(stderr=stderr, markup=False, emoji=False, highlight=False, soft_wrap=False)


def show(*parts: "RenderableType") -> None:
    """Print results for a person."""
    console = _console(stderr=False)
    for part in parts:
        console.print(part)


def show_json(record: dict[str, Any]) -> None:
    """Print a result for a program; ASCII only, so that no text in it acts on a terminal."""
    sys.stdout.write(json.dumps(record, ensure_ascii=True, allow_nan=False, indent=2) + "\n")


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
