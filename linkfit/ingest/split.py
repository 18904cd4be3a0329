"""One trace as two: before and after a moment, or its two halves."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from linkfit.errors import InputError
from linkfit.ingest.trace import LatencySamples, ThroughputSamples, Trace, TransferSamples

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Keep = Callable[[NDArray[Any], NDArray[Any], NDArray[Any]], NDArray[np.bool_]]

Table = TypeVar("Table", ThroughputSamples, LatencySamples, TransferSamples)


def split_at(trace: Trace, moment_s: float) -> tuple[Trace, Trace]:
    """What began before `moment_s` (since 1970-01-01 UTC), and the rest. [s]

    Raises
    ------
    InputError
        If a source has no clock, or all samples lie on one side.
    """
    blind = [source.name for source in trace.sources if not source.has_clock]
    if blind:
        raise InputError(
            f"split: expected measurements with a time of day, got {blind[0]!r} without; "
            "split by halves instead"
        )
    return _parts(trace, lambda time_s, _weight, _kind: time_s >= moment_s)


def halves(trace: Trace) -> tuple[Trace, Trace]:
    """The first and the second half of what was measured, in order of time.

    Each direction is cut where half of its seconds (of its transfers, of its round trips) have
    passed; sources without a clock follow each other in the order in which they were read.

    Raises
    ------
    InputError
        If there is one sample only.
    """

    def is_second(
        time_s: "NDArray[Any]", weight: "NDArray[Any]", kind: "NDArray[Any]"
    ) -> "NDArray[np.bool_]":
        late = np.zeros(time_s.size, dtype=np.bool_)
        for one in np.unique(kind):
            rows = np.flatnonzero(kind == one)
            passed = np.cumsum(weight[rows])
            late[rows] = passed > 0.5 * passed[-1] + 1e-9
        return late

    return _parts(trace, is_second)


def _parts(trace: Trace, is_second: "Keep") -> tuple[Trace, Trace]:
    samples = trace.throughput, trace.latency, trace.transfers
    throughput = _divided(trace, samples[0], "start_s", samples[0].duration_s, samples[0].is_up,
                          is_second)  # fmt: skip
    ones = np.ones(len(samples[1]))
    latency = _divided(trace, samples[1], "time_s", ones, samples[1].loaded, is_second)
    ones = np.ones(len(samples[2]))
    transfers = _divided(trace, samples[2], "start_s", ones, samples[2].is_up, is_second)
    parts = tuple(
        replace(trace, throughput=throughput[i], latency=latency[i], transfers=transfers[i])
        for i in range(2)
    )
    for name, part in zip(("before", "after"), parts, strict=True):
        if not len(part.throughput) and not len(part.transfers):
            raise InputError(
                f"split: expected measurements of rates {name} it, got none; split elsewhere"
            )
    return parts[0], parts[1]


def _divided(
    trace: Trace, table: Table, time: str, weight: "NDArray[Any]", kind: "NDArray[Any]",
    is_second: "Keep",
) -> tuple[Table, Table]:  # fmt: skip
    """`table` in two, its rows in order of time."""
    time_s = getattr(table, time)
    if not time_s.size:
        return table, table
    clocks = np.array([source.has_clock for source in trace.sources], dtype=bool)
    group = np.where(clocks[table.source], -1, table.source)
    order = np.lexsort((time_s, group))
    late = is_second(time_s[order], weight[order], kind[order])
    return table.take(order[~late]), table.take(order[late])
