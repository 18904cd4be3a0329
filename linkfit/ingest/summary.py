"""What a Trace holds, in figures a person can check: counts, coverage, quantiles, repairs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linkfit.ingest.distribution import interarrival_jitter_s, percentile
from linkfit.ingest.storage import is_constant
from linkfit.ingest.trace import (
    TRANSPORTS,
    Finding,
    LatencySamples,
    Repair,
    ThroughputSamples,
    Trace,
    TransferSamples,
)
from linkfit.ingest.traps import gap_lengths_s
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

HOURS = 24
_LEVELS = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """5th, 50th and 95th percentile (RFC 2330 section 11.3), in the unit of what they are of."""

    values: tuple[float, float, float]

    @property
    def p05(self) -> float:
        """5th percentile."""
        return self.values[0]

    @property
    def p50(self) -> float:
        """50th percentile."""
        return self.values[1]

    @property
    def p95(self) -> float:
        """95th percentile."""
        return self.values[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class ThroughputSummary:
    """One direction's throughput samples.

    `coverage_s` holds measured seconds for each hour of the day in UTC, None without clocks;
    the hours of samples without a clock count as no hour. Gaps are counted inside each source.
    """

    direction: str
    n_samples: int
    n_saturating: int
    transports: tuple[str, ...]
    first_s: float
    last_s: float
    measured_s: float
    coverage_s: tuple[float, ...] | None
    n_gaps: int
    gaps_s: float
    longest_gap_s: float
    zero_frac: float
    rate_bps: Quantiles


@dataclass(frozen=True, slots=True, kw_only=True)
class LatencySummary:
    """Round trips of an idle or a busy link; percentiles count losses as infinite delay.

    `jitter_s` is RFC 3550's over the replies of each source in order of time.
    """

    loaded: bool
    n_rows: int
    n_probes: int
    first_s: float
    last_s: float
    loss_frac: float
    rtt_s: Quantiles
    jitter_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferSummary:
    """Real transfers of one direction."""

    direction: str
    n_transfers: int
    first_s: float
    last_s: float
    size_bytes: Quantiles
    duration_s: Quantiles
    rate_bps: Quantiles


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceSummary:
    """Everything `linkfit inspect` shows of a Trace.

    `n_unclocked` sources have no time of day: their times count from their own beginning.
    `span_s` goes from the first to the last that the others measured; None without others.
    """

    n_sources: int
    formats: tuple[tuple[str, int], ...]
    peers: tuple[str, ...]
    has_clock: bool
    n_unclocked: int
    span_s: tuple[float, float] | None
    throughput: tuple[ThroughputSummary, ...]
    latency: tuple[LatencySummary, ...]
    transfers: tuple[TransferSummary, ...]
    repairs: tuple[Repair, ...]
    findings: tuple[Finding, ...]


def summarise(trace: Trace) -> TraceSummary:
    """Counts, coverage, gaps and quantiles of all that `trace` holds."""
    formats: dict[str, int] = {}
    for source in trace.sources:
        formats[source.format] = formats.get(source.format, 0) + 1
    clocks = np.array([source.has_clock for source in trace.sources], dtype=np.bool_)
    return TraceSummary(
        n_sources=len(trace.sources),
        formats=tuple(sorted(formats.items())),
        peers=tuple(dict.fromkeys(s.peer for s in trace.sources if s.peer)),
        has_clock=bool(clocks.any()),
        n_unclocked=int(np.count_nonzero(~clocks)),
        span_s=_span_s(trace, clocks),
        throughput=tuple(
            _throughput(trace.throughput.take(keep), way, clocks)
            for way, keep in _by_direction(trace.throughput.is_up)
        ),
        latency=tuple(
            _latency(trace.latency.take(keep), loaded=loaded)
            for loaded in (False, True)
            if (keep := trace.latency.loaded == loaded).any()
        ),
        transfers=tuple(
            _transfers(trace.transfers.take(keep), way)
            for way, keep in _by_direction(trace.transfers.is_up)
        ),
        repairs=trace.repairs,
        findings=trace.findings,
    )


def _span_s(trace: Trace, clocks: NDArray[np.bool_]) -> tuple[float, float] | None:
    """First and last time of all samples whose source has a clock. [s since 1970 UTC]"""
    rates = trace.throughput.take(clocks[trace.throughput.source])
    pings = trace.latency.take(clocks[trace.latency.source])
    moved = trace.transfers.take(clocks[trace.transfers.source])
    spans = [
        (float(starts_s.min()), float(ends_s.max()))
        for starts_s, ends_s in (
            (rates.start_s, rates.start_s + rates.duration_s),
            (pings.time_s, pings.time_s),
            (moved.start_s, moved.start_s + moved.duration_s),
        )
        if len(starts_s)
    ]
    return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None


def coverage_s(
    start_s: NDArray[np.float64], duration_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Measured seconds in each hour of the day (UTC), shape (24,). [s]

    A sample over the turn of an hour counts in each hour for the part that lies in it.
    """
    seconds = np.zeros(HOURS)
    start_s, left_s = start_s.copy(), np.array(duration_s, dtype=np.float64)
    whole_days = np.floor(left_s / SECONDS_PER_DAY)
    seconds += whole_days.sum() * SECONDS_PER_HOUR
    left_s -= whole_days * SECONDS_PER_DAY
    while start_s.size:  # at most 25 rounds: each ends one hour
        in_day_s = np.mod(start_s, SECONDS_PER_DAY)
        hour = np.minimum((in_day_s // SECONDS_PER_HOUR).astype(np.intp), HOURS - 1)
        part_s = np.minimum(left_s, (hour + 1) * SECONDS_PER_HOUR - in_day_s)
        seconds += np.bincount(hour, weights=part_s, minlength=HOURS)
        more = left_s - part_s > 1e-9
        start_s, left_s = (start_s + part_s)[more], (left_s - part_s)[more]
    return seconds


def _by_direction(is_up: NDArray[np.bool_]) -> list[tuple[str, NDArray[np.bool_]]]:
    ways = (("down", ~is_up), ("up", is_up))
    return [(way, keep) for way, keep in ways if keep.any()]


def _throughput(
    samples: ThroughputSamples, direction: str, clocks: NDArray[np.bool_]
) -> ThroughputSummary:
    rates_bps = samples.rates_bps
    clocked = samples.take(clocks[samples.source])
    coverage = coverage_s(clocked.start_s, clocked.duration_s) if len(clocked) else None
    gaps_s = _gaps_inside_sources(samples)
    return ThroughputSummary(
        direction=direction,
        n_samples=len(samples),
        n_saturating=int(np.count_nonzero(samples.saturating)),
        transports=tuple(TRANSPORTS[i] for i in np.unique(samples.transport).tolist()),
        first_s=float(samples.start_s.min()),
        last_s=float((samples.start_s + samples.duration_s).max()),
        measured_s=float(samples.duration_s.sum()),
        coverage_s=None if coverage is None else tuple(coverage.tolist()),
        n_gaps=gaps_s.size,
        gaps_s=float(gaps_s.sum()),
        longest_gap_s=float(gaps_s.max()) if gaps_s.size else 0.0,
        zero_frac=float(np.mean(rates_bps == 0)),
        rate_bps=_quantiles(rates_bps),
    )


def _gaps_inside_sources(samples: ThroughputSamples) -> NDArray[np.float64]:
    """Gaps of each source on its own: between two files there is no gap, but another test."""
    if is_constant(samples.source) or len(samples) == 1:
        return gap_lengths_s(samples.start_s, samples.duration_s)
    order = np.lexsort((samples.start_s, samples.source))
    ends = np.flatnonzero(np.diff(samples.source[order])) + 1
    return np.concatenate(
        [gap_lengths_s(samples.start_s[i], samples.duration_s[i]) for i in np.split(order, ends)]
    )


def _latency(samples: LatencySamples, *, loaded: bool) -> LatencySummary:
    return LatencySummary(
        loaded=loaded,
        n_rows=len(samples),
        n_probes=int(samples.n_probes.sum()),
        first_s=float(samples.time_s.min()),
        last_s=float(samples.time_s.max()),
        loss_frac=samples.loss_frac,
        rtt_s=_quantiles(samples.rtt_s),
        jitter_s=_jitter_s(samples),
    )


def _jitter_s(samples: LatencySamples) -> float:
    """Jitter of each source on its own, averaged by replies; a change of file is no jitter. [s]"""
    replies = samples.take(np.isfinite(samples.rtt_s))
    if not len(replies):
        return 0.0
    order = np.lexsort((replies.time_s, replies.source))
    ends = np.flatnonzero(np.diff(replies.source[order])) + 1
    runs = np.split(replies.rtt_s[order], ends)
    return sum(interarrival_jitter_s(run) * run.size for run in runs) / len(replies)


def _transfers(samples: TransferSamples, direction: str) -> TransferSummary:
    return TransferSummary(
        direction=direction,
        n_transfers=len(samples),
        first_s=float(samples.start_s.min()),
        last_s=float((samples.start_s + samples.duration_s).max()),
        size_bytes=_quantiles(samples.size_bytes),
        duration_s=_quantiles(samples.duration_s),
        rate_bps=_quantiles(samples.rates_bps),
    )


def _quantiles(values: NDArray[np.float64]) -> Quantiles:
    low, middle, high = (percentile(values, level) for level in _LEVELS)
    return Quantiles(values=(low, middle, high))
