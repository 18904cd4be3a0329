"""Moments as options say them: an hour of the day, and the last minutes of the link."""

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.cli.link_input import TraceInput
    from linkfit.ingest.trace import Trace

At = Annotated[
    str | None, typer.Option(metavar="HH:MM", help='Also at this hour of the local day, "20:00".')
]
Recent = Annotated[
    str | None,
    typer.Option(
        metavar="FILE",
        help="Also from now on: a trace file of the link's last minutes, the same direction busy.",
    ),
]
RecentAge = Annotated[str, typer.Option(help='How long ago the file of --recent ended, "30 s".')]


def hour_of_day(text: str) -> float:
    """Hour of the day of ``"20:00"`` or ``"20"``. [h]

    Raises
    ------
    InputError
        If it is none from 0:00 to 24:00.
    """
    match = re.fullmatch(r"(\d{1,2})(?::([0-5]\d))?", text.strip())
    hour = int(match[1]) + int(match[2] or 0) / 60 if match else -1.0
    if not 0 <= hour <= 24:
        raise InputError(f"--at: expected an hour from 0:00 to 24:00, got {text!r}; write '20:00'")
    return hour


def recent_trace(path: str, files: "TraceInput") -> "Trace":
    """The last minutes, read as the files of the link are.

    Raises
    ------
    InputError
        If both are standard input.
    """
    from linkfit.cli.link_input import read_traces

    if path == "-" and "-" in files.paths:
        raise InputError("--recent: expected a file, since LINK is standard input, got '-'")
    return read_traces(replace(files, paths=(path,)))
