"""The same file read twice, under two names, counts once."""

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from linkfit.ingest.trace import (
    LatencySamples,
    Repair,
    ThroughputSamples,
    Trace,
    TransferSamples,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

Samples = TypeVar("Samples", ThroughputSamples, LatencySamples, TransferSamples)


def without_copies(trace: Trace) -> Trace:
    """`trace` without sources whose file has the same bytes as one before under another name.

    One file may hold several sources; they all stay. Each copy that goes is a Repair.
    """
    first_name: dict[str, str] = {}
    keep = np.ones(len(trace.sources), dtype=np.bool_)
    for index, source in enumerate(trace.sources):
        if source.sha256:
            keep[index] = first_name.setdefault(source.sha256, source.name) == source.name
    if keep.all():
        return trace
    moved = np.cumsum(keep) - 1
    gone = [source for source, kept in zip(trace.sources, keep, strict=True) if not kept]
    names = {source.name for source in gone}
    repairs = tuple(
        Repair(
            source=name,
            kind="copy dropped",
            n_samples=_n_samples(trace, name),
            text=f"has the same bytes as {first_name[sha256]}: counted once",
        )
        for name, sha256 in sorted({(source.name, source.sha256) for source in gone})
    )
    return Trace(
        sources=tuple(s for s, kept in zip(trace.sources, keep, strict=True) if kept),
        throughput=_kept(trace.throughput, keep, moved),
        latency=_kept(trace.latency, keep, moved),
        transfers=_kept(trace.transfers, keep, moved),
        repairs=(*(r for r in trace.repairs if r.source not in names), *repairs),
        findings=tuple(f for f in trace.findings if f.source not in names),
    )


def _kept(table: Samples, keep: "NDArray[np.bool_]", moved: "NDArray[np.int64]") -> Samples:
    """Rows whose source stays, with its new index."""
    rows = table.take(keep[table.source]) if len(table) else table
    return replace(rows, source=moved[rows.source])


def _n_samples(trace: Trace, name: str) -> int:
    """Rows of all tables that come from files called `name`."""
    mine = np.array([source.name == name for source in trace.sources])
    return sum(
        int(mine[table.source].sum())
        for table in (trace.throughput, trace.latency, trace.transfers)
        if len(table)
    )
