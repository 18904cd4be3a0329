"""Measured runs: throughput samples of one direction on a 1 s grid, split at every gap.

A run is a stretch without a gap in one source. Samples below 1 s (write granularity of the
sender, not capacity) are summed to 1 s; longer ones are spread evenly over their seconds.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import InputError
from linkfit.ingest.trace import LAYERS, TRANSPORTS, ThroughputSamples, Trace

if TYPE_CHECKING:
    from numpy.typing import NDArray

GRID_S = 1.0
# payload per 1500-byte packet: IPv4 20 + TCP 20 + timestamps 12 (RFC 791, 9293, 7323 section 3.2)
IP_BITS_PER_TCP_BIT = 1500.0 / 1448.0
# IPv4 20 + UDP 8 (RFC 791, RFC 768)
IP_BITS_PER_UDP_BIT = 1500.0 / 1472.0
_DROP_FIRST_FROM_S = 4
_PIECE_S = 3600
_SLICE = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredRuns:
    """IP-layer rates second by second, run after run.

    Parameters
    ----------
    rates_bps : array, shape (n,)
        Mean rate of each second. [bit/s at the IP layer]
    first : array of int, shape (r + 1,)
        Index of each run's first second; the last entry is n.
    start_s : array, shape (r,)
        Start of each run since 1970-01-01 UTC, NaN where the source has no clock. [s]
    """

    rates_bps: "NDArray[np.float64]"
    first: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"

    def __post_init__(self) -> None:
        types = {"rates_bps": np.float64, "first": np.int64, "start_s": np.float64}
        for name, dtype in types.items():
            array = np.ascontiguousarray(getattr(self, name), dtype=dtype).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        rates, first = self.rates_bps, self.first
        if not (np.isfinite(rates) & (rates >= 0)).all():
            raise InputError("rates_bps: expected finite numbers >= 0 in every run")
        if first.size < 2 or first[0] != 0 or first[-1] != rates.size or (np.diff(first) < 1).any():
            raise InputError(
                f"first: expected growing indices from 0 to {rates.size}, got {first.tolist()[:9]}"
            )
        if self.start_s.shape != (first.size - 1,):
            raise InputError(
                f"start_s: expected shape ({first.size - 1},), got {self.start_s.shape}"
            )

    @property
    def n_runs(self) -> int:
        """Number of runs."""
        return int(self.first.size) - 1

    @property
    def lengths_s(self) -> "NDArray[np.int64]":
        """Seconds in each run, shape (r,). [s]"""
        return np.diff(self.first)

    @property
    def mean_rates_bps(self) -> "NDArray[np.float64]":
        """Mean rate of each run, shape (r,). [bit/s]"""
        return np.add.reduceat(self.rates_bps, self.first[:-1]) / self.lengths_s


def measured_runs(trace: Trace, direction: str) -> MeasuredRuns | None:
    """Saturating samples of `direction` as runs on a 1 s grid; None if there is none.

    Parameters
    ----------
    trace : Trace
        Samples with `saturating` False are lower bounds and are left out here.
    direction : {"up", "down"}
        Of the link.

    Notes
    -----
    The first second of a TCP run of at least 4 s is left out: slow start, not the link.
    """
    samples, has_clock = selected_samples(trace, direction, saturating=True)
    return runs_of_samples(samples, has_clock) if len(samples) else None


def lower_bounds_bps(trace: Trace, direction: str) -> "NDArray[np.float64]":
    """Rates of `direction` that are known only to be exceeded, above 0. [bit/s at the IP layer]"""
    samples, _ = selected_samples(trace, direction, saturating=False)
    rates_bps = ip_bits(samples) / samples.duration_s
    return rates_bps[rates_bps > 0]


def selected_samples(
    trace: Trace, direction: str, *, saturating: bool
) -> "tuple[ThroughputSamples, NDArray[np.bool_]]":
    """Samples of one direction in order of time, and whether each has a clock.

    A source without a clock counts from 0, so its samples stay together.
    """
    samples = trace.throughput
    keep = (samples.is_up == (direction == "up")) & (samples.saturating == saturating)
    clocks = np.array([source.has_clock for source in trace.sources], dtype=bool)
    if not keep.all():
        samples = samples.take(keep)
    if not len(samples):
        return samples, np.zeros(0, dtype=bool)
    has_clock = clocks[samples.source]
    group = np.where(has_clock, -1, samples.source).astype(np.int32)
    if not _in_order(group, samples):
        order = np.lexsort((samples.start_s, group))
        samples, has_clock = samples.take(order), has_clock[order]
    return samples, has_clock


def _in_order(group: "NDArray[np.int32]", samples: ThroughputSamples) -> bool:
    for low in range(0, group.size - 1, _SLICE):
        rows = slice(low, low + _SLICE + 1)
        rise = np.diff(group[rows])
        step_s = np.diff(samples.starts_between_s(rows.start, rows.stop))
        if not ((rise > 0) | ((rise == 0) & (step_s >= 0))).all():
            return False
    return True


def runs_of_samples(samples: ThroughputSamples, has_clock: "NDArray[np.bool_]") -> MeasuredRuns:
    """At least one sample, in order, as runs on a 1 s grid."""
    bounds = _run_bounds(samples)
    bits = ip_bits(samples)
    is_tcp = samples.transport == TRANSPORTS.index("tcp")
    rates, lengths, starts = [], [], []
    for low, high in pairwise(bounds.tolist()):
        run = _on_grid(samples.duration_s[low:high], bits[low:high])
        start_s = float(samples.starts_between_s(low, low + 1)[0]) if has_clock[low] else np.nan
        if is_tcp[low] and run.size >= _DROP_FIRST_FROM_S and samples.duration_s[low] < 2 * GRID_S:
            run, start_s = run[1:], start_s + GRID_S
        rates.append(run)
        lengths.append(run.size)
        starts.append(start_s)
    return MeasuredRuns(
        rates_bps=np.concatenate(rates),
        first=np.concatenate(([0], np.cumsum(lengths))),
        start_s=np.array(starts),
    )


def thinned_runs(runs: MeasuredRuns, max_seconds: int) -> MeasuredRuns:
    """About `max_seconds` of `runs`: whole pieces of up to an hour, spread over the record."""
    n = int(runs.rates_bps.size)
    if n <= max_seconds:
        return runs
    starts = np.concatenate(
        [np.arange(low, high, _PIECE_S) for low, high in pairwise(runs.first.tolist())]
    )
    ends = np.append(starts[1:], n)
    run = np.searchsorted(runs.first, starts, side="right") - 1
    start_s = runs.start_s[run] + (starts - runs.first[run])
    n_kept = max(int(max_seconds * starts.size / n), 1)
    keep = np.unique(np.linspace(0, starts.size - 1, n_kept).astype(np.int64))
    return MeasuredRuns(
        rates_bps=np.concatenate([runs.rates_bps[starts[i] : ends[i]] for i in keep]),
        first=np.concatenate(([0], np.cumsum((ends - starts)[keep]))),
        start_s=start_s[keep],
    )


def ip_bits(samples: ThroughputSamples) -> "NDArray[np.float64]":
    """Bits of each sample at the IP layer: goodput with its headers added. [bits]"""
    is_udp = samples.transport == TRANSPORTS.index("udp")
    factor = np.where(is_udp, IP_BITS_PER_UDP_BIT, IP_BITS_PER_TCP_BIT)
    return np.where(samples.layer == LAYERS.index("goodput"), samples.bits * factor, samples.bits)


def _run_bounds(samples: ThroughputSamples) -> "NDArray[np.int64]":
    """Indices where a run starts, plus the number of samples."""
    cuts = [np.zeros(1, dtype=np.int64)]
    for low in range(0, len(samples) - 1, _SLICE):  # a year of seconds: no copies of it
        rows = slice(low, low + _SLICE + 1)
        start_s = samples.starts_between_s(rows.start, rows.stop)
        duration_s = samples.duration_s[rows]
        # clocks of logs tremble by some part of a sample; half a sample missing is a gap
        slack_s = np.maximum(0.5 * duration_s[:-1], 0.05)
        gap_s = start_s[1:] - start_s[:-1] - duration_s[:-1]
        apart = np.diff(samples.source[rows]) != 0
        cuts.append(np.flatnonzero((np.abs(gap_s) > slack_s) | apart) + low + 1)
    return np.concatenate((*cuts, [len(samples)]))


def _on_grid(durations_s: "NDArray[Any]", bits: "NDArray[Any]") -> "NDArray[np.float64]":
    """Mean rate of each whole second of one run; a run below 1.5 s becomes one second."""
    if (durations_s == GRID_S).all():
        return bits / GRID_S
    edges_s = np.concatenate(([0.0], np.cumsum(durations_s)))
    # a last piece of at least half a second counts as a second of its own mean rate
    n = max(int(np.floor(edges_s[-1] / GRID_S + 0.5)), 1)
    grid_s = np.minimum(np.arange(n + 1) * GRID_S, edges_s[-1])
    cumulative = np.interp(grid_s, edges_s, np.concatenate(([0.0], np.cumsum(bits))))
    return np.diff(cumulative) / np.diff(grid_s)
