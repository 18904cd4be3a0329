"""Write the chosen settings as snippets, to a folder or to standard output."""

from pathlib import Path
from typing import TYPE_CHECKING

from linkfit.cli.console import tell
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.advice.advise import Advice


def write_snippets(advice: "Advice", folder: str) -> None:
    """The snippets of `advice` in `folder`, made if need be, or on stdout if it is "-"."""
    import typer

    from linkfit.report.advice_snippets import FILE_NAME, snippets_text

    text = snippets_text(advice)
    if folder == "-":
        typer.echo(text, nl=False)
        return
    target = Path(folder) / FILE_NAME
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise InputError(
            f"--emit: expected a folder that can be written, got {folder!r}: {error.strerror}"
        ) from error
    tell(f"settings to review in {target}")
