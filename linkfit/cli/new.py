"""``linkfit new``: a commented starter site file."""

from typing import Annotated

import typer


def new(
    kinds: Annotated[
        list[str],
        typer.Argument(metavar="KIND...", help="Service kinds, for example: photo-library backup"),
    ],
    name: Annotated[str, typer.Option(help="Name of the place.")] = "My site",
    timezone: Annotated[str, typer.Option(help="IANA name, for example Europe/Lisbon.")] = "UTC",
    output: Annotated[
        str, typer.Option("--output", "-o", metavar="FILE", help="File to write; - is stdout.")
    ] = "-",
) -> None:
    """Write a commented starter site file.

    It holds a service of each KIND you name, with the tasks that the kind brings.
    """
    from linkfit.cli.files import write_new_text
    from linkfit.site.starter import starter_text

    write_new_text(output, starter_text(kinds, name, timezone))
