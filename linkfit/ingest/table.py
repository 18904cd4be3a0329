"""Tables of text: rows streamed in chunks, with every damaged cell named by row and column."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from linkfit.errors import TraceError
from linkfit.ingest.assemble import MISSING, TableHead, assemble
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader, TablePlan
from linkfit.ingest.quick import Place, is_text, quick_chunks, used_columns
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.sniff import Layout
from linkfit.ingest.text import Encoding
from linkfit.ingest.trace import Source, Trace
from linkfit.ingest.transfers import headerless_names

CHUNK_ROWS = 250_000


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
    trace = assemble(
        head,
        lambda plan: _chunks(raw, layout, encoding, plan, notes),
        options,
        notes,
        Source(name=notes.name, format="table"),
        n_rows_expected=_about_rows(raw),
    )
    # asked for last, for the file is summed while it is read
    return replace(trace, sources=tuple(replace(s, sha256=raw.sha256) for s in trace.sources))


def _about_rows(raw: RawFile) -> int:
    """More rows than the file is likely to have, by the length of its first lines."""
    n_lines = raw.head.count(b"\n") + 1
    share = raw.n_bytes / len(raw.head)
    return n_lines if share == 1 else int(1.25 * n_lines * share)


def _chunks(
    raw: RawFile, layout: Layout, encoding: Encoding, plan: TablePlan, notes: Notes
) -> Iterator[pd.DataFrame]:
    """Chunks by the quick parser while the file is regular, then row by row."""
    done = Place()
    if encoding.is_utf8:
        for chunk in quick_chunks(raw, layout, plan, done, n_rows=CHUNK_ROWS):
            yield chunk
            plan.options.progress(notes.name, done.n_bytes, raw.n_bytes)
        if done.n_bytes == raw.n_bytes:
            return
    yield from _careful_chunks(raw, layout, encoding, plan, notes, done)


def _careful_chunks(
    raw: RawFile,
    layout: Layout,
    encoding: Encoding,
    plan: TablePlan,
    notes: Notes,
    done: Place,
) -> Iterator[pd.DataFrame]:
    """The same chunks from `done` on, each row and cell checked and named."""
    if not encoding.name.startswith("utf-16"):
        raw.refuse_nul()
    checker = _RowChecker(layout, plan, notes)
    file, name, n_before = raw.rewind(), encoding.name, layout.first_row - 1
    if done.n_lines:  # below the header, and below the mark of the encoding
        file.seek(done.n_bytes)
        name, n_before = "utf-8", 0
    text = io.TextIOWrapper(file, encoding=name, errors="replace", newline="")
    try:
        for _ in range(n_before):
            next(text, None)
        reader = csv.reader(text, delimiter=layout.delimiter)
        kept: list[list[str]] = []
        lines: list[int] = []
        n_lines = done.n_lines
        for cells in reader:
            line, n_lines = n_lines, done.n_lines + reader.line_num  # a cell may run over lines
            if not any(cell.strip() for cell in cells):
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
            f"{notes.name}:{layout.first_row - 1 + done.n_lines + reader.line_num}: expected a row "
            f"of cells, got {error}; close the quotation mark"
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
        self._columns = used_columns(plan)
        self._numeric = [c for c in self._columns if not is_text(c, plan)]
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
