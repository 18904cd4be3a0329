"""From the head and the chunks of any table to a Trace, whatever wrote the table."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from linkfit.ingest.columns import assign_columns
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader, TablePlan, make_plan
from linkfit.ingest.rows import TableRows
from linkfit.ingest.tidy import tidy
from linkfit.ingest.trace import Source, Trace
from linkfit.ingest.traps import find_traps, ignored_column_traps

MISSING = ("", "nan", "NaN", "NA", "N/A", "n/a", "null", "NULL", "None", "none", "-", "--")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableHead:
    """Names of a table's columns, its first rows as text, and the line of the first one."""

    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    decimal: str = "."
    first_row: int = 1


def assemble(
    head: TableHead,
    chunks: Callable[[TablePlan], Iterable[pd.DataFrame]],
    options: ReadOptions,
    notes: Notes,
    source: Source,
    n_rows_expected: int = 0,
) -> Trace:
    """The Trace of a table: its columns told, its rows turned into samples and put in order.

    `chunks` gives frames of the plan's columns, named by their place in the file and indexed
    by their lines counted from the first row; numbers are float64, texts strings.
    `n_rows_expected` is at least their number, if known.

    Raises
    ------
    TraceError
        With all that neither the table nor the options say, or all cells that cannot be read.
    """
    to_number = NumberReader(head.decimal)
    assignment = assign_columns(
        head.names, head.rows, options, notes.name,
        is_number=lambda cell: cell in MISSING or not np.isnan(to_number(cell)),
    )  # fmt: skip
    plan = make_plan(assignment, head.rows, options, notes, to_number=to_number)
    ignored_column_traps(head.names, head.rows, {c.index for c in plan.columns}, notes)
    rows = TableRows(plan, notes, head.first_row, n_rows_expected)
    for chunk in chunks(plan):
        rows.add(chunk)
    notes.refuse_problems()
    peers = list(rows.peers)
    if len(peers) > 1:
        notes.find("several peers", len(peers), "rows of {n} far ends in one file")
    kind = plan.start_kind or plan.end_kind
    source = replace(
        source,
        peer=peers[0] if len(peers) == 1 else "",
        has_clock=kind is not None and kind.is_clock,
    )
    trace = Trace(
        sources=(source,),
        throughput=rows.throughput(),
        latency=rows.latency(),
        transfers=rows.transfers(),
    )
    trace = tidy(trace, notes, one_peer=len(peers) < 2)
    find_traps(trace, notes)
    return replace(trace, repairs=notes.repairs, findings=notes.findings)
