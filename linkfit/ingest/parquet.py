"""Parquet tables, streamed in batches of the columns that are read."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

import numpy as np
import pandas as pd

from linkfit.errors import TraceError
from linkfit.ingest.assemble import TableHead, assemble
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import TablePlan
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.trace import Source, Trace

BATCH_ROWS = 500_000
_HEAD_ROWS = 200


def read_parquet(raw: RawFile, options: ReadOptions, notes: Notes) -> Trace:
    """A Parquet table of rates, round trips or transfers as a Trace.

    Raises
    ------
    TraceError
        If pyarrow is not installed, the file is damaged, or it does not say what it must.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise TraceError(
            f"{raw.name}: expected pyarrow to read Parquet with, got none installed; "
            "run: pip install 'linkfit[parquet]'"
        ) from error
    try:
        file = pq.ParquetFile(raw.rewind())
        names = tuple(file.schema_arrow.names)
        rows = tuple(islice(_texts(file, options), _HEAD_ROWS))
        return assemble(
            TableHead(names=names, rows=rows),
            lambda plan: _chunks(file, names, plan, notes),
            options,
            notes,
            Source(name=raw.name, format="Parquet", sha256=raw.sha256),
            n_rows_expected=file.metadata.num_rows,
        )
    except pa.ArrowException as error:
        raise TraceError(
            f"{raw.name}: expected a whole Parquet file, got {str(error)[:80]!r}; was it cut off?"
        ) from error


def _texts(file: Any, options: ReadOptions) -> Iterator[tuple[str, ...]]:
    """The first rows as texts, to tell columns by."""
    for batch in file.iter_batches(batch_size=_HEAD_ROWS):
        columns = [_column(batch.column(i), options) for i in range(batch.num_columns)]
        for row in zip(*columns, strict=True):
            yield tuple("" if pd.isna(cell) else str(cell) for cell in row)


def _chunks(
    file: Any, names: tuple[str, ...], plan: TablePlan, notes: Notes
) -> Iterator[pd.DataFrame]:
    used = sorted({c.index for c in plan.columns})
    n_done = 0
    for batch in file.iter_batches(batch_size=BATCH_ROWS, columns=[names[i] for i in used]):
        by_name = dict(zip(batch.schema.names, batch.columns, strict=True))
        yield pd.DataFrame({i: _column(by_name[names[i]], plan.options) for i in used})
        n_done += batch.num_rows
        plan.options.progress(notes.name, n_done, file.metadata.num_rows)


def _column(values: Any, options: ReadOptions) -> Any:
    """A column as float64 or texts; times as microseconds since 1970, or ISO if of a local zone."""
    import pyarrow as pa

    kind = values.type
    if pa.types.is_timestamp(kind):
        if kind.tz is None and options.timezone != "UTC":
            return values.cast(pa.string()).to_pandas().astype("str")
        return (
            values.cast(pa.timestamp("us", kind.tz), safe=False)
            .cast(pa.int64())
            .to_numpy(zero_copy_only=False)
            .astype(np.float64)
        )
    if pa.types.is_decimal(kind) or pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return values.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return values.cast(pa.string()).to_pandas()
