"""Rows into order: sorted, doubles removed, overlaps cut; each repair counted."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linkfit.ingest.notes import Notes
from linkfit.ingest.storage import BLOCK_ROWS, is_constant
from linkfit.ingest.trace import LatencySamples, ThroughputSamples, Trace, TransferSamples

_SLACK = 0.5  # of a row's length: clocks of pollers jitter by less
_TOO_LONG = 3.0  # rows longer than this many usual ones and over the next row end by mistake
_STEP_ROWS = 10  # so many rows behind one fall of the clock are a step, fewer a shuffled row


def tidy(trace: Trace, notes: Notes, *, one_peer: bool = True) -> Trace:
    """`trace` of one file with its rows in order; what that took is added to `notes`.

    Sorting and removing equal rows is certain. Rows over each other cannot both be right where
    one sender measured one direction: a row that lasts into the next ones is cut, one that
    begins inside another is left out. With several far ends both are kept.
    """
    return replace(
        trace,
        throughput=_tidy_throughput(trace.throughput, notes, one_peer=one_peer),
        latency=_tidy_latency(trace.latency, notes),
        transfers=_tidy_transfers(trace.transfers, notes),
    )


def rises(times_s: NDArray[Any]) -> bool:
    """Whether each time lies after the one before it; in blocks, to stay small."""
    for begin in range(0, times_s.size, BLOCK_ROWS):
        if not (np.diff(times_s[begin : begin + BLOCK_ROWS + 1]) > 0).all():
            return False
    return True


def _tidy_throughput(
    samples: ThroughputSamples, notes: Notes, *, one_peer: bool
) -> ThroughputSamples:
    if len(samples) == 0:
        return samples
    n_down = len(samples) - int(np.count_nonzero(samples.is_up))
    parts = [
        _tidy_way(samples.part(begin, end), notes, one_peer=one_peer)
        if not _is_tidy(samples, begin, end)
        else (begin, end)
        for begin, end in ((0, n_down), (n_down, len(samples)))
        if end > begin
    ]
    if all(isinstance(part, tuple) for part in parts):
        return samples  # the usual case: nothing is copied
    tables = [samples.part(*part) if isinstance(part, tuple) else part for part in parts]
    return ThroughputSamples.concatenate(tables, [0] * len(tables))


def _is_tidy(samples: ThroughputSamples, begin: int, end: int) -> bool:
    for at in range(begin, end, BLOCK_ROWS):
        start_s = samples.starts_between_s(at, min(at + BLOCK_ROWS + 1, end))
        duration_s = samples.duration_s[at : at + start_s.size - 1]
        steps_s = np.diff(start_s)
        if not (steps_s > 0).all() or (start_s[1:] < start_s[:-1] + _SLACK * duration_s).any():
            return False
    return True


def _tidy_way(samples: ThroughputSamples, notes: Notes, *, one_peer: bool) -> ThroughputSamples:
    """Samples of one direction, sorted, without doubles and overlaps."""
    order = _sorted_order(samples.start_s, notes)
    samples = samples.take(order)
    same = _equal_to_previous(samples.start_s, samples.duration_s, samples.bits)
    notes.repair("duplicate rows", int(same.sum()), "{n} rows repeat another one; left out")
    samples, order = samples.take(~same), order[~same]
    if not one_peer:
        return samples
    samples = _cut_long(samples, notes)
    ends_s = samples.start_s + _SLACK * samples.duration_s
    keep = _first_come(samples.start_s, ends_s, order)
    notes.repair(
        "overlapping rows",
        int((~keep).sum()),
        "{n} rows begin inside another one of the same direction (a clock set back?); left out",
    )
    return samples.take(keep)


def _sorted_order(times_s: NDArray[np.float64], notes: Notes) -> NDArray[np.intp]:
    """Indices that put `times_s` in order; notes shuffled rows and a clock set back."""
    falls = np.diff(times_s) < 0
    n_falls = int(falls.sum())
    if not n_falls:
        return np.arange(times_s.size)
    latest_s = np.maximum.accumulate(times_s)
    n_behind = int((times_s < latest_s).sum())
    if n_behind >= _STEP_ROWS * n_falls:
        step_s = float((latest_s[:-1] - times_s[1:])[falls].max())
        notes.find(
            "clock set back",
            n_falls,
            f"the clock goes back {{n}} times, by up to {step_s:g} s (a clock corrected, or local "
            "times at the end of summer time: say timezone=)",
        )
    notes.repair("rows out of order", n_behind, "{n} rows lie behind a later one; sorted by time")
    return np.argsort(times_s, kind="stable")


def _equal_to_previous(*columns: NDArray[Any]) -> NDArray[np.bool_]:
    same = np.ones(columns[0].size, dtype=np.bool_)
    same[:1] = False
    for column in columns:
        same[1:] &= column[1:] == column[:-1]
    return same


def _cut_long(samples: ThroughputSamples, notes: Notes) -> ThroughputSamples:
    """Rows far longer than usual that reach over the next one, cut where that begins."""
    if is_constant(samples.duration_s) or len(samples) < 3:
        return samples
    usual_s = float(np.median(samples.duration_s))
    until_next_s = np.append(np.diff(samples.start_s), np.inf)
    too_long = (samples.duration_s > _TOO_LONG * usual_s) & (until_next_s > 0)
    too_long &= until_next_s < _SLACK * samples.duration_s
    notes.repair(
        "too long",
        int(too_long.sum()),
        "{n} rows claim to last into the rows after them; cut where the next one begins",
    )
    duration_s = np.where(too_long, until_next_s, samples.duration_s)
    bits = samples.bits * (duration_s / samples.duration_s)
    return replace(samples, duration_s=duration_s, bits=bits)


def _first_come(
    start_s: NDArray[np.float64], end_s: NDArray[np.float64], order: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Rows to keep so that none begins inside another: the one first in the file stays."""
    keep = np.ones(start_s.size, dtype=np.bool_)
    suspects = np.flatnonzero(start_s[1:] < end_s[:-1])
    for i in suspects.tolist():
        left = i
        while left >= 0 and not keep[left]:
            left -= 1
        if left < 0 or start_s[i + 1] >= end_s[left]:
            continue
        loser = i + 1 if order[left] < order[i + 1] else left
        keep[loser] = False
    return keep


def _tidy_latency(samples: LatencySamples, notes: Notes) -> LatencySamples:
    if len(samples) == 0 or rises(samples.time_s):
        return samples
    samples = samples.take(_sorted_order(samples.time_s, notes))
    same = _equal_to_previous(samples.time_s, samples.rtt_s, samples.n_lost, samples.n_probes)
    notes.repair("duplicate probes", int(same.sum()), "{n} round trips repeat another; left out")
    return samples.take(~same)


def _tidy_transfers(samples: TransferSamples, notes: Notes) -> TransferSamples:
    """Sorted, without doubles; transfers at the same time are kept, for they may be parallel."""
    if len(samples) == 0 or rises(samples.start_s):
        return samples
    samples = samples.take(_sorted_order(samples.start_s, notes))
    same = _equal_to_previous(
        samples.start_s, samples.size_bytes, samples.duration_s, samples.is_up.astype(np.float64)
    )
    notes.repair("duplicate rows", int(same.sum()), "{n} rows repeat another one; left out")
    return samples.take(~same)
