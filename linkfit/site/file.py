"""Read a site file: the TOML that says what is asked of the link."""

import re
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

from linkfit.errors import ConfigError
from linkfit.site.assembly import assemble
from linkfit.site.model import Site
from linkfit.site.problems import Problems
from linkfit.site.shown import shown_key
from linkfit.site.what_if import with_settings

MAX_FILE_BYTES = 4_000_000
_UTF8_BOM = b"\xef\xbb\xbf"
_WIDE_BOMS = (b"\xff\xfe", b"\xfe\xff")
_TOML_PLACE = re.compile(
    r"\s*\(at (?:line (?P<row>\d+), column (?P<column>\d+)|end of document)\)$"
)


def read_site(path: str | Path, settings: Sequence[str] = ()) -> Site:
    """The Site described by a TOML file, or by standard input if `path` is "-".

    Parameters
    ----------
    path : str or Path
        UTF-8, with or without byte order mark, any line ends; at most 4 MB.
    settings : sequence of str
        ``PATH=VALUE`` each, put into the sound file: `linkfit.site.what_if`.

    Returns
    -------
    site : Site
        All quantities in SI units; tasks of the kinds filled in.

    Raises
    ------
    ConfigError
        If the file cannot be read, is no TOML, or says something impossible or contradictory;
        the error carries every problem with its place, in file order.
    """
    if str(path) == "-":
        raw = _read(sys.stdin.buffer, "stdin")
        return parse_site(_decoded(raw, "stdin"), source="stdin", settings=settings)
    source = shown_key(path)
    try:
        with Path(path).open("rb") as stream:
            raw = _read(stream, source)
    except (OSError, ValueError) as error:
        if isinstance(error, ConfigError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise ConfigError(
            source, [f"expected a readable site file, got: {reason}; check the path"]
        ) from error
    return parse_site(_decoded(raw, source), source=source, settings=settings)


def parse_site(text: str, *, source: str = "site", settings: Sequence[str] = ()) -> Site:
    """The Site described by TOML `text`; `source` names it in messages, `settings` change it.

    Raises
    ------
    ConfigError
        As `read_site`.
    """
    try:
        data = tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError as error:
        raise ConfigError(
            source, ["expected a flat file, got tables nested too deep; take the nesting out"]
        ) from error
    except ValueError as error:  # TOMLDecodeError, and numbers of thousands of digits
        raise _syntax_problem(text, str(error), source) from error
    problems = Problems(source, {name: n for n, name in enumerate(data)})
    site = assemble(data, problems)
    return with_settings(data, site, settings) if settings else site


def _read(stream: BinaryIO, source: str) -> bytes:
    """At most MAX_FILE_BYTES: a device or a wrong file must not fill the memory."""
    raw = stream.read(MAX_FILE_BYTES + 1)
    if len(raw) > MAX_FILE_BYTES:
        raise ConfigError(
            source,
            [
                f"expected a site file of at most {MAX_FILE_BYTES // 10**6} MB, got more; "
                "is this a measurement? those go in as LINK"
            ],
        )
    return raw


def _decoded(raw: bytes, source: str) -> str:
    """`raw` as text; the place of what is not UTF-8 is told."""
    if raw.startswith(_WIDE_BOMS) or b"\0" in raw[:100]:
        raise ConfigError(
            source, ["expected UTF-8 text, got UTF-16 or binary data; save the file as UTF-8"]
        )
    body = raw.removeprefix(_UTF8_BOM)
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        before = body[: error.start]
        row = before.count(b"\n") + 1
        column = len(before) - (before.rfind(b"\n") + 1) + 1
        raise ConfigError(
            f"{source}:{row}:{column}",
            [f"expected UTF-8 text, got byte 0x{body[error.start]:02x}; save the file as UTF-8"],
        ) from error


def _syntax_problem(text: str, message: str, source: str) -> ConfigError:
    """A TOML error as ``file:row:column: expected TOML, got …``."""
    match = _TOML_PLACE.search(message)
    reason = message[: match.start()] if match else message
    if match and match["row"]:
        row, column = int(match["row"]), int(match["column"])
    else:
        lines = text.split("\n")
        row, column = len(lines), len(lines[-1]) + 1
    return ConfigError(
        f"{source}:{row}:{column}",
        [f"expected TOML, got: {reason}; see the starter file of `linkfit new`"],
    )
