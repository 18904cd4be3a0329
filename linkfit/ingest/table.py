"""Tables of text: rows streamed in chunks, with every damaged cell named by row and column."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from linkfit.errors import TraceError
from linkfit.ingest.assemble import MISSING, TableHead, assemble
from linkfit.ingest.columns import TEXT_ROLES, Column
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader, TablePlan
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.sniff import Layout
from linkfit.ingest.text import Encoding
from linkfit.ingest.trace import Source, Trace
from linkfit.ingest.transfers import headerless_names

CHUNK_ROWS = 250_000
_BLOCK_BYTES = 1 << 20


def read_table(
    raw: RawFile, layout: Layout, encoding: Encoding, options: ReadOptions, notes: Notes
) -> Trace:
    """One table of rates, round trips or transfers as a Trace.

    Raises
    ------
    TraceError
        With all cells that cannot be read, or all that the options must say.
    """
    names = layout.names or headerless_names(layout, options, notes)
    head = TableHead(
        names=tuple(names),
        rows=layout.rows,
        decimal=layout.decimal,
        first_row=layout.first_row,
    )
    return assemble(
        head,
        lambda plan: _chunks(raw, layout, encoding, plan, notes),
        options,
        notes,
        Source(name=notes.name, format="table", sha256=raw.sha256),
        n_rows_expected=raw.n_lines + 1,
    )


def _chunks(
    raw: RawFile, layout: Layout, encoding: Encoding, plan: TablePlan, notes: Notes
) -> Iterator[pd.DataFrame]:
    """Chunks by the quick parser while the file is regular, then row by row."""
    n_done = 0
    if encoding.is_utf8 and _is_regular(raw, layout):
        try:
            for chunk in _quick_chunks(raw, layout, plan):
                yield chunk
                n_done += len(chunk)
                plan.options.progress(notes.name, raw.file.tell(), raw.n_bytes)
        except (ValueError, pd.errors.ParserError):
            pass  # some cell is no number: the careful reading names it
        else:
            return
    yield from _careful_chunks(raw, layout, encoding, plan, notes, n_done)


def _is_regular(raw: RawFile, layout: Layout) -> bool:
    """Whether the file has as many delimiters as rows of its width need, and ends in a newline.

    The quick parser fills short rows with "not measured" without a word, so only such a file
    goes to it.
    """
    n_delimiters = 0
    file, last = raw.rewind(), b""
    while block := file.read(_BLOCK_BYTES):
        codes = np.frombuffer(block, dtype=np.uint8)
        n_delimiters += int(np.count_nonzero(codes == ord(layout.delimiter)))
        last = block[-1:]
    return (
        layout.n_before == 0
        and n_delimiters == raw.n_lines * (layout.n_columns - 1)
        and (last == b"\n")
    )


def _used(plan: TablePlan) -> tuple[Column, ...]:
    return tuple(sorted(plan.columns, key=lambda column: column.index))


def _quick_chunks(raw: RawFile, layout: Layout, plan: TablePlan) -> Iterator[pd.DataFrame]:
    """Chunks of the used columns, numbers as float64, by pandas' C parser."""
    dtypes: dict[int, Any] = {}
    for column in _used(plan):
        is_text = column.role in TEXT_ROLES and not _is_number_time(column, plan)
        dtypes[column.index] = "str" if is_text else np.float64
    has_spaces = f"{layout.delimiter} ".encode() in raw.head  # looking for them costs a third more
    reader = pd.read_csv(
        raw.rewind(), sep=layout.delimiter, header=None, names=range(layout.n_columns),
        skiprows=layout.first_row - 1, usecols=list(dtypes), dtype=dtypes,
        decimal=layout.decimal, na_values=list(MISSING), keep_default_na=False,
        chunksize=CHUNK_ROWS, skipinitialspace=has_spaces,
    )  # fmt: skip
    with reader:
        yield from reader


def _is_number_time(column: Column, plan: TablePlan) -> bool:
    kinds = {"start": plan.start_kind, "end": plan.end_kind}
    kind = kinds.get(column.role)
    return kind is not None and kind.factor_s is not None


def _careful_chunks(
    raw: RawFile,
    layout: Layout,
    encoding: Encoding,
    plan: TablePlan,
    notes: Notes,
    n_done: int,
) -> Iterator[pd.DataFrame]:
    """The same chunks after the first `n_done` rows, each row and cell checked and named."""
    checker = _RowChecker(layout, plan, notes)
    text = io.TextIOWrapper(raw.rewind(), encoding=encoding.name, errors="replace", newline="")
    try:
        for _ in range(layout.first_row - 1):
            next(text, None)
        reader = csv.reader(text, delimiter=layout.delimiter)
        kept: list[list[str]] = []
        lines: list[int] = []
        n_lines = 0
        for cells in reader:
            line, n_lines = n_lines, reader.line_num  # a quoted cell may run over lines
            if not any(cell.strip() for cell in cells):
                continue
            if n_done > 0:
                n_done -= 1
                continue
            if checker.accept(cells, layout.first_row + line):
                kept.append(cells)
                lines.append(line)
            if len(kept) == CHUNK_ROWS:
                yield checker.frame(kept, lines)
                kept, lines = [], []
                plan.options.progress(notes.name, raw.file.tell(), raw.n_bytes)
        ends_in_newline = _ends_in_newline(raw)
        checker.finish(ends_in_newline=ends_in_newline)
        yield checker.frame(kept, lines)
    except csv.Error as error:
        raise TraceError(
            f"{notes.name}:{layout.first_row - 1 + reader.line_num}: expected a row of cells, got "
            f"{error}; close the quotation mark"
        ) from error
    finally:
        text.detach()


def _ends_in_newline(raw: RawFile) -> bool:
    raw.file.seek(-1, io.SEEK_END)
    return raw.file.read(1) in (b"\n", b"\r", b"\0")  # \0: the second byte of UTF-16 LE


class _RowChecker:
    """Looks at each row: its width, and that used cells are what their columns hold."""

    def __init__(self, layout: Layout, plan: TablePlan, notes: Notes) -> None:
        self._layout, self._plan, self._notes = layout, plan, notes
        self._to_number = NumberReader(layout.decimal)
        self._columns = _used(plan)
        self._numeric = [
            c for c in self._columns if c.role not in TEXT_ROLES or _is_number_time(c, plan)
        ]
        self._short: tuple[int, int] | None = None  # row and width of a short row seen last

    def accept(self, cells: Sequence[str], row: int) -> bool:
        """Whether the row can be used; if not, why is remembered."""
        if self._short is not None:  # short, but not the last row
            self._refuse_width(*self._short)
            self._short = None
        if len(cells) < self._layout.n_columns:
            self._short = (row, len(cells))
            return False
        if len(cells) > self._layout.n_columns and any(
            c.strip() for c in cells[self._layout.n_columns :]
        ):
            self._refuse_width(row, len(cells))
            return False
        if tuple(cell.strip() for cell in cells) == self._layout.names:
            self._notes.repair(
                "header again", 1, "{n} more header lines between the rows; left out"
            )
            return False
        wrong = [
            c for c in self._numeric
            if (cell := cells[c.index].strip()) not in MISSING and np.isnan(self._to_number(cell))
        ]  # fmt: skip
        for column in wrong:
            self._notes.problem(
                f"{self._notes.name}:{row}:{column.index + 1}: expected a number in column "
                f"{column.name!r}, got {cells[column.index].strip()[:40]!r}; correct or empty it"
            )
        return not wrong

    def finish(self, *, ends_in_newline: bool) -> None:
        """A last row cut off by the end of the file is left out."""
        if self._short is not None:
            if ends_in_newline:
                self._refuse_width(*self._short)
            else:
                self._notes.repair(
                    "cut off",
                    1,
                    f"row {self._short[0]} is cut off by the end of the file; left out",
                )

    def frame(self, rows: Sequence[Sequence[str]], lines: Sequence[int]) -> pd.DataFrame:
        """The used cells of `rows`, numbers as float64, indexed by `lines`."""
        data: dict[int, Any] = {}
        for column in self._columns:
            cells = [row[column.index].strip() for row in rows]
            if column in self._numeric:
                data[column.index] = np.array([self._to_number(c) for c in cells], np.float64)
            else:
                values = [None if c in MISSING else c for c in cells]
                data[column.index] = pd.Series(values, dtype="str", index=lines)
        return pd.DataFrame(data, index=lines)

    def _refuse_width(self, row: int, n_cells: int) -> None:
        self._notes.problem(
            f"{self._notes.name}:{row}: expected {self._layout.n_columns} cells, got {n_cells}; "
            "correct or remove the row"
        )
