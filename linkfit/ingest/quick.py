"""The quick reading of tables: blocks of whole lines, each parsed while the last one is used.

Each block is checked on its own. The first one that is not regular ends the quick reading, and
the careful one goes on at its first byte; so damage deep in a long file costs only what follows.
"""

import io
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from linkfit.ingest.assemble import MISSING
from linkfit.ingest.columns import TEXT_ROLES, Column
from linkfit.ingest.plan import TablePlan
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.sniff import Layout

# Blocks of 1 to 4 MB take equally long; with smaller ones, starting the parser is felt.
BLOCK_BYTES = 2 << 20
_N_AHEAD = 3  # blocks read before they are asked for
_KEPT_BYTES = 30 << 20  # freed memory that the allocator of the C library is to keep; most: 32


@dataclass(slots=True, kw_only=True)
class Place:
    """How far the rows of a table were read: bytes of the file, and lines below its header."""

    n_bytes: int = 0
    n_lines: int = 0


def quick_chunks(
    raw: RawFile, layout: Layout, plan: TablePlan, done: Place, *, n_rows: int
) -> Iterator[pd.DataFrame]:
    """Chunks of the used columns, numbers as float64, as far as the file is regular.

    `done` always tells where the chunks yielded so far end. The first chunk has at least
    `n_rows` rows where the file has them, for what a row lasts is told from it; so have all
    chunks of local times, whose clocks set back only show in the rows around.
    """
    start = _rows_begin(raw, layout)
    if start is None:
        return
    done.n_bytes = start
    waits_always = any(
        kind is not None and kind.factor_s is None and not kind.has_zone
        for kind in (plan.start_kind, plan.end_kind)
    )
    held: list[pd.DataFrame] = []
    end = Place(n_bytes=start)
    least_rows = n_rows
    for n_bytes, frame in _frames(_blocks(raw, start), _Parser(raw, layout, plan)):
        frame.index = pd.RangeIndex(end.n_lines, end.n_lines + len(frame))
        held.append(frame)
        end = Place(n_bytes=end.n_bytes + n_bytes, n_lines=end.n_lines + len(frame))
        if end.n_lines - done.n_lines >= least_rows:
            done.n_bytes, done.n_lines = end.n_bytes, end.n_lines
            yield _one_frame(held)
            held, least_rows = [], n_rows if waits_always else 1
    if held:
        done.n_bytes, done.n_lines = end.n_bytes, end.n_lines
        yield _one_frame(held)


def used_columns(plan: TablePlan) -> tuple[Column, ...]:
    """The columns that are read, in the order of the file."""
    return tuple(sorted(plan.columns, key=lambda column: column.index))


def is_text(column: Column, plan: TablePlan) -> bool:
    """Whether the cells of `column` are read as text: words, and times that are no numbers."""
    if column.role not in TEXT_ROLES:
        return False
    kind = {"start": plan.start_kind, "end": plan.end_kind}.get(column.role)
    return kind is None or kind.factor_s is None


def _rows_begin(raw: RawFile, layout: Layout) -> int | None:
    """First byte below the header; None if its lines do not end as those of the rows must."""
    n_bytes = 0
    for _ in range(layout.first_row - 1):
        line = raw.head[n_bytes : raw.head.find(b"\n", n_bytes) + 1]
        if not line or len(line.splitlines()) > 1:  # a lone \r ends a line too
            return None
        n_bytes += len(line)
    return n_bytes


def _blocks(raw: RawFile, start: int) -> Iterator[bytes]:
    """Whole lines from byte `start` on; a last line without its end is left to others."""
    file = raw.rewind()
    file.seek(start)
    while block := file.read(BLOCK_BYTES):
        if not block.endswith(b"\n"):
            block += file.readline()
        if not block.endswith(b"\n"):
            block = block[: block.rfind(b"\n") + 1]
        if block:
            yield block


def _frames(blocks: Iterable[bytes], parse: "_Parser") -> Iterator[tuple[int, pd.DataFrame]]:
    """Bytes and frame of each block, in order, until one is not regular."""
    _keep_freed_memory()
    with ThreadPoolExecutor(max_workers=1) as pool:  # a second one only waits for the interpreter
        jobs: deque[tuple[int, Future[pd.DataFrame | None]]] = deque()
        try:
            for block in blocks:
                jobs.append((len(block), pool.submit(parse, block)))
                if len(jobs) < _N_AHEAD:
                    continue
                n_bytes, job = jobs.popleft()
                if (frame := job.result()) is None:
                    return
                yield n_bytes, frame
            for n_bytes, job in jobs:
                if (frame := job.result()) is None:
                    return
                yield n_bytes, frame
        finally:
            pool.shutdown(cancel_futures=True)


class _Parser:
    """Bytes of whole lines to a frame of the used columns, by pandas' C parser."""

    def __init__(self, raw: RawFile, layout: Layout, plan: TablePlan) -> None:
        self._row = layout.delimiter.encode() * (layout.n_columns - 1) + b"\n"
        kept = {*self._row, 0}  # a NUL is refused elsewhere
        self._cells = bytes(code for code in range(256) if code not in kept)
        dtypes: dict[int, Any] = {
            column.index: "str" if is_text(column, plan) else np.float64
            for column in used_columns(plan)
        }
        self._options: dict[str, Any] = {
            "sep": layout.delimiter, "header": None, "names": range(layout.n_columns),
            "usecols": list(dtypes), "dtype": dtypes, "decimal": layout.decimal,
            "na_values": list(MISSING), "keep_default_na": False, "low_memory": False,
            # looking for spaces costs a third more
            "skipinitialspace": f"{layout.delimiter} ".encode() in raw.head,
        }  # fmt: skip

    def __call__(self, block: bytes) -> pd.DataFrame | None:
        """The frame, one row a line; None if the block is not regular.

        The C parser fills short rows with "not measured" and drops what is too long, without a
        word, so it gets only blocks in which each line has the delimiters of a row.
        """
        separators = block.translate(None, self._cells)
        n_lines = len(separators) // len(self._row)
        if separators != self._row * n_lines:
            return None
        try:
            frame = pd.read_csv(io.BytesIO(block), **self._options)
        except (ValueError, pd.errors.ParserError):
            return None  # some cell is no number: the careful reading names it
        return frame if len(frame) == n_lines else None


def _keep_freed_memory() -> None:
    """Let the C library keep the memory that each block frees for the next one.

    glibc gives freed memory back to the system, and asks for it again page by page, until it has
    seen a larger piece freed (mallopt(3), M_MMAP_THRESHOLD): a quarter of the time of parsing.
    """
    np.empty(_KEPT_BYTES, dtype=np.uint8)


def _one_frame(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    return frames[0] if len(frames) == 1 else pd.concat(frames)
