"""Records as JSON: one object a line, or one array of objects; keys are the columns."""

import json
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

import numpy as np
import pandas as pd

from linkfit.errors import TraceError
from linkfit.ingest.assemble import MISSING, TableHead, assemble
from linkfit.ingest.columns import TEXT_ROLES
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader, TablePlan
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.text import Encoding
from linkfit.ingest.trace import Source, Trace

CHUNK_ROWS = 100_000
_HEAD_ROWS = 200

Record = tuple[int, dict[str, Any]]  # line number and object


def read_records(raw: RawFile, encoding: Encoding, options: ReadOptions, notes: Notes) -> Trace:
    """JSON records of rates, round trips or transfers as a Trace.

    Raises
    ------
    TraceError
        With all lines that are no JSON objects, all values that cannot be read, or all that
        the options must say.
    """
    first = [record for _, record in islice(_records(raw, encoding, notes, quiet=True), _HEAD_ROWS)]
    names = tuple(dict.fromkeys(key for record in first for key in record))
    rows = tuple(tuple(_text(record.get(name)) for name in names) for record in first)
    return assemble(
        TableHead(names=names, rows=rows),
        lambda plan: _chunks(_records(raw, encoding, notes), names, plan, notes),
        options,
        notes,
        Source(name=notes.name, format="JSON records", sha256=raw.sha256),
        n_rows_expected=raw.n_lines + 1,
    )


def _records(
    raw: RawFile, encoding: Encoding, notes: Notes, *, quiet: bool = False
) -> Iterator[Record]:
    """Objects with their line numbers; `quiet` stops at the first bad line without a word."""
    if raw.head.decode(encoding.name, errors="replace").lstrip().startswith("["):
        yield from _array(raw, encoding)
        return
    for row, line in enumerate(_lines(raw, encoding), start=1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
            error = None if isinstance(record, dict) else f"got {line.strip()[:40]!r}"
        except ValueError as wrong:
            error = f"got {line.strip()[:40]!r} ({wrong})"
            if not line.endswith("\n") and not quiet:
                notes.repair(
                    "cut off", 1, f"line {row} is cut off by the end of the file; left out"
                )
                break
        if error is None:
            yield row, record
        elif quiet:
            return
        else:
            notes.problem(f"{raw.name}:{row}: expected a JSON object a line, {error}")


def _lines(raw: RawFile, encoding: Encoding) -> Iterator[str]:
    text = raw.rewind()
    if not encoding.is_utf8:
        yield from text.read().decode(encoding.name, errors="replace").splitlines(keepends=True)
        return
    for number, line in enumerate(text):
        yield line.decode("utf-8-sig" if number == 0 else "utf-8", errors="replace")


def _array(raw: RawFile, encoding: Encoding) -> Iterator[Record]:
    try:
        records = json.loads(raw.read_all().decode(encoding.name, errors="replace"))
    except json.JSONDecodeError as error:
        raise TraceError(
            f"{raw.name}:{error.lineno}:{error.colno}: expected a JSON array of objects, got "
            f"{error.msg!r}; was the file cut off?"
        ) from error
    for number, record in enumerate(records, start=1):
        if not isinstance(record, dict):
            raise TraceError(
                f"{raw.name}: item {number}: expected a JSON object, got {str(record)[:40]!r}"
            )
        yield number, record


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _chunks(
    records: Iterable[Record], names: tuple[str, ...], plan: TablePlan, notes: Notes
) -> Iterator[pd.DataFrame]:
    source = iter(records)
    while block := list(islice(source, CHUNK_ROWS)):
        yield _frame(block, names, plan, notes)


def _frame(
    block: list[Record], names: tuple[str, ...], plan: TablePlan, notes: Notes
) -> pd.DataFrame:
    to_number = NumberReader(".")
    lines = [row - 1 for row, _ in block]
    data: dict[int, Any] = {}
    for column in plan.columns:
        texts = [_text(record.get(names[column.index])).strip() for _, record in block]
        kind = {"start": plan.start_kind, "end": plan.end_kind}.get(column.role)
        if column.role in TEXT_ROLES and (kind is None or kind.factor_s is None):
            values = [None if text in MISSING else text for text in texts]
            data[column.index] = pd.Series(values, dtype="str", index=lines)
            continue
        numbers = np.array([to_number(text) for text in texts], dtype=np.float64)
        for i in np.flatnonzero(np.isnan(numbers)).tolist():
            if texts[i] not in MISSING:
                notes.problem(
                    f"{notes.name}:{block[i][0]}: expected a number as {column.name!r}, got "
                    f"{texts[i][:40]!r}; correct it or make it null"
                )
        data[column.index] = numbers
    return pd.DataFrame(data, index=lines)
