"""What a file holds, told from its first bytes and never from its name."""

import csv
import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from linkfit.errors import TraceError

KINDS = ("table", "json lines", "parquet", "delivery", "iperf3", "ping")

_BINARY = (
    (b"PAR1", "parquet"),
    (b"SQLite format 3\0", "an SQLite database"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"PK\x03\x04", "a zip archive or spreadsheet"),
    (b"\xfd7zXZ\0", "an xz archive"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xd4\xc3\xb2\xa1", "a packet capture"),
    (b"\x0a\x0d\x0d\x0a", "a packet capture"),
)
DELIMITERS = (",", ";", "\t", "|")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_DECIMAL_POINT = re.compile(r"[+-]?\d+\.\d+")
_WHOLE_NUMBER = re.compile(r"\d{1,15}")
_HEAD_LINES = 200
_MOSTLY = 0.9


class NotAMeasurementError(TraceError):
    """The file holds nothing that linkfit reads: an error by name, passed over in a folder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a table is laid out: `names` is empty where there is no header.

    `n_before` counts the lines before the header (notes that start with ``#``, blank lines);
    `rows` are the first rows of cells, for those who must look at values to tell a column.
    """

    delimiter: str
    decimal: str
    names: tuple[str, ...]
    n_columns: int
    n_before: int
    rows: tuple[tuple[str, ...], ...]

    @property
    def first_row(self) -> int:
        """Line number of the first row of values, counted from 1."""
        return self.n_before + 1 + bool(self.names)


def binary_kind(head: bytes) -> str | None:
    """The name of a known binary format that starts with `head`, else None."""
    return next((name for magic, name in _BINARY if head.startswith(magic)), None)


def looks_like_delivery(head: str) -> bool:
    """Whether `head` is (but for damage) one whole number a line that (nearly) never falls."""
    lines = _complete_lines(head)
    values = [int(line) for line in lines if _WHOLE_NUMBER.fullmatch(line.strip())]
    if len(values) < 2 or len(values) < len(lines) / 2 or not _WHOLE_NUMBER.match(lines[0]):
        return False
    if any(delimiter in line for line in lines for delimiter in DELIMITERS):
        return False
    n_falls = sum(b < a for a, b in pairwise(values))
    return values[-1] > values[0] and n_falls <= (1 - _MOSTLY) * len(values)


def looks_like_json_lines(head: str) -> bool:
    """Whether the first line of `head` is a JSON object, or it starts an array of them."""
    start = head.lstrip("\ufeff \t\r\n")
    if re.match(r"\[\s*\{", start):
        return True
    try:
        return isinstance(json.loads(start.split("\n", 1)[0]), dict)
    except ValueError:
        return False


def find_layout(head: str, where: str) -> Layout:
    """Delimiter, decimal sign and header of a table that starts with `head`.

    Raises
    ------
    TraceError
        If no delimiter cuts the lines into rows of one length.
    """
    lines = _complete_lines(head)
    n_before = 0
    while n_before < len(lines) and (
        not lines[n_before].strip() or lines[n_before].lstrip().startswith("#")
    ):
        n_before += 1
    body = [line for line in lines[n_before:] if line.strip()]
    if not body:
        raise NotAMeasurementError(
            f"{where}: expected rows of measurements, got notes and blank lines only"
        )
    candidates = [(d, _rows(body, d)) for d in DELIMITERS]
    delimiter, rows = max(candidates, key=lambda c: _regularity(c[1]))
    if _regularity(rows) == (0.0, 0):
        delimiter, rows = ",", [(line.strip(),) for line in body]
        if not _is_single_column(rows):
            raise NotAMeasurementError(
                f"{where}:{n_before + 1}: expected a table, iperf3 JSON, ping output or packet "
                f"delivery times, got {body[0][:60]!r}; is it a measurement?"
            )
    has_header = not any(_NUMBER.fullmatch(cell.strip()) for cell in rows[0])
    values = rows[1:] if has_header else rows
    # without a header, a delimiter at the end of each line makes one empty column too many
    n_columns = len(rows[0])
    return Layout(
        delimiter=delimiter,
        decimal=_decimal_sign(values, delimiter),
        names=tuple(cell.strip() for cell in rows[0]) if has_header else (),
        n_columns=n_columns,
        n_before=n_before,
        rows=tuple(row for row in values if len(row) == n_columns),
    )


def _complete_lines(head: str) -> list[str]:
    """Lines of `head` without the last one, which may be cut (unless it is the only one)."""
    lines = head.splitlines()[: _HEAD_LINES + 1]
    return lines[:-1] if len(lines) > 1 and not head.endswith("\n") else lines[:_HEAD_LINES]


def _rows(lines: Sequence[str], delimiter: str) -> list[tuple[str, ...]]:
    return [tuple(row) for row in csv.reader(lines, delimiter=delimiter)]


def _regularity(rows: Sequence[tuple[str, ...]]) -> tuple[float, int]:
    """Share of rows with the commonest length, then that length; (0, 0) if it cuts nothing."""
    length, n_rows = Counter(len(row) for row in rows).most_common(1)[0]
    if length < 2 or n_rows < _MOSTLY * len(rows) - 1 or len(rows[0]) != length:
        return (0.0, 0)
    # a decimal comma cuts every row of numbers too, but never the header
    return (n_rows / len(rows), length)


def _is_single_column(rows: Sequence[tuple[str, ...]]) -> bool:
    numbers = [_NUMBER.fullmatch(row[0]) is not None for row in rows]
    return len(numbers) > 1 and all(numbers[1:])


def _decimal_sign(rows: Sequence[tuple[str, ...]], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    cells = [cell.strip() for row in rows for cell in row]
    commas = sum(_DECIMAL_COMMA.fullmatch(cell) is not None for cell in cells)
    points = sum(_DECIMAL_POINT.fullmatch(cell) is not None for cell in cells)
    return "," if commas > points else "."
