"""From the intervals of one iperf3 test to throughput and latency samples of the link."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkfit.ingest.iperf3_run import Interval, Note, Run
from linkfit.ingest.trace import (
    LAYERS,
    TRANSPORTS,
    Finding,
    LatencySamples,
    Repair,
    Source,
    ThroughputSamples,
    Trace,
)
from linkfit.units import BITS_PER_BYTE

# Sender intervals below 1 s show how writes were cut up, not the link (design.md section 5).
SHORTEST_BIN_S = 0.95
# A first bin up to this long is mostly TCP's slow start; a longer one is kept.
SLOW_START_S = 1.5
# Below this share of the asked rate the link, not the asking, set the pace.
FULL_BELOW_FRAC = 0.95
# Where more datagrams than this were lost, what was sent says little of what the link carried.
TOLERATED_LOSS_FRAC = 0.05
SMALL_TRANSFER_BYTES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bin:
    """One sample to be: an interval, or neighbouring ones added up."""

    start_s: float
    duration_s: float
    n_bytes: float
    rtt_s: float
    n_streams: int
    n_datagrams: int = 0
    n_lost: int = 0
    saturating: bool = True


def run_to_trace(run: Run, source: Source) -> Trace:
    """The samples, repairs and findings of one test."""
    repairs, findings = list(run.repairs), list(run.findings)
    parts = []
    for is_up in (True, False):
        mine = [i for i in run.intervals if i.is_up is is_up]
        if mine:
            bins = _direction(run, mine, repairs, findings)
            parts.append(_samples(run, bins, is_up=is_up))
    if run.error and run.intervals:
        text = f"the test ended early: iperf3 said {run.error!r}"
        findings.append(Note("test ended early", 1, text))
    return Trace(
        sources=(source,),
        throughput=ThroughputSamples.concatenate([p[0] for p in parts], [0] * len(parts)),
        latency=LatencySamples.concatenate([p[1] for p in parts], [0] * len(parts)),
        repairs=tuple(Repair(source=source.name, **note._asdict()) for note in repairs),
        findings=tuple(Finding(source=source.name, **note._asdict()) for note in findings),
    )


def _samples(
    run: Run, bins: Sequence[_Bin], *, is_up: bool
) -> tuple[ThroughputSamples, LatencySamples]:
    n = len(bins)
    base_s = run.started_s or 0.0
    timed = [b for b in bins if b.rtt_s > 0]
    counted = [b for b in bins if b.duration_s > 0]
    n = len(counted)
    throughput = ThroughputSamples(
        start_s=np.array([base_s + b.start_s for b in counted]),
        duration_s=np.array([b.duration_s for b in counted]),
        bits=np.array([b.n_bytes * BITS_PER_BYTE for b in counted]),
        is_up=np.full(n, is_up),
        saturating=np.array([b.saturating for b in counted], dtype=np.bool_),
        transport=np.full(n, TRANSPORTS.index(run.transport)),
        layer=np.full(n, LAYERS.index("goodput")),
        n_streams=np.array([b.n_streams for b in counted]),
        source=np.zeros(n),
    )
    latency = LatencySamples(
        time_s=np.array([base_s + b.start_s + b.duration_s for b in timed]),
        rtt_s=np.array([b.rtt_s for b in timed]),
        spread_s=np.zeros(len(timed)),
        n_probes=np.ones(len(timed)),
        n_lost=np.zeros(len(timed)),
        loaded=np.ones(len(timed)),
        source=np.zeros(len(timed)),
    )
    return throughput, latency


def _direction(
    run: Run, intervals: list[Interval], repairs: list[Note], findings: list[Note]
) -> list[_Bin]:
    """The samples of one direction, with all repairs to them."""
    kept = _without_repeats(_without_omitted(intervals, repairs), repairs)
    bins = _join(kept, repairs)
    if run.transport != "udp" and not any(i.is_omitted for i in intervals):
        bins = _without_slow_start(bins, repairs, findings)
    return [replace(b, saturating=_saturates(run, b)) for b in bins]


def _without_omitted(intervals: list[Interval], repairs: list[Note]) -> list[Interval]:
    """The intervals that count; their clock restarts after omitted ones (-O) and is moved back."""
    omitted = [i for i in intervals if i.is_omitted]
    if not omitted:
        return intervals
    text = "intervals the test itself marked as omitted (-O) were left out"
    repairs.append(Note("omitted interval left out", len(omitted), text))
    offset_s = max(i.end_s for i in omitted)
    return [replace(i, start_s=i.start_s + offset_s) for i in intervals if not i.is_omitted]


def _without_repeats(intervals: list[Interval], repairs: list[Note]) -> list[Interval]:
    """Some versions print the last interval twice when a test ends; once is true."""
    kept: list[Interval] = []
    for interval in intervals:
        if kept and abs(interval.start_s - kept[-1].start_s) < 1e-3:
            continue
        kept.append(interval)
    if len(kept) < len(intervals):
        text = "intervals that start where the one before started were counted once"
        repairs.append(Note("interval printed twice", len(intervals) - len(kept), text))
    return kept


def _join(intervals: list[Interval], repairs: list[Note]) -> list[_Bin]:
    """Neighbours added up to at least one second; a short last one joins the one before."""
    groups: list[list[Interval]] = []
    for interval in intervals:
        if groups and sum(i.duration_s for i in groups[-1]) < SHORTEST_BIN_S:
            groups[-1].append(interval)
        else:
            groups.append([interval])
    if len(groups) > 1 and sum(i.duration_s for i in groups[-1]) < SHORTEST_BIN_S:
        groups[-2:] = [groups[-2] + groups[-1]]
    n_joined = sum(len(group) for group in groups if len(group) > 1)
    if n_joined:
        text = "intervals shorter than 1 s show writes, not the link: added up to 1 s and more"
        repairs.append(Note("short intervals joined", n_joined, text))
    return [_bin(group) for group in groups]


def _bin(group: list[Interval]) -> _Bin:
    return _Bin(
        start_s=group[0].start_s,
        duration_s=sum(i.duration_s for i in group),
        n_bytes=sum(i.n_bytes for i in group),
        rtt_s=group[-1].rtt_s,
        n_streams=group[0].n_streams,
        n_datagrams=sum(i.n_datagrams for i in group),
        n_lost=sum(i.n_lost for i in group),
    )


def _without_slow_start(bins: list[_Bin], repairs: list[Note], findings: list[Note]) -> list[_Bin]:
    if not bins:
        return bins
    if len(bins) > 1 and bins[0].start_s < 0.5 and bins[0].duration_s <= SLOW_START_S:
        text = "TCP's slow start is not the link's rate: the first second was left out"
        repairs.append(Note("first second dropped", 1, text))
        return bins[1:]
    text = "the only or first interval includes TCP's slow start: its rate is somewhat too low"
    findings.append(Note("slow start included", 1, text))
    return bins


def _saturates(run: Run, sample: _Bin) -> bool:
    """Whether the sender tried for more than it got in this sample."""
    if run.target_bps is None:
        return run.transport != "udp" or sample.n_lost > TOLERATED_LOSS_FRAC * sample.n_datagrams
    if run.target_bps == 0:
        return True
    asked_bytes = run.target_bps * sample.n_streams * sample.duration_s / BITS_PER_BYTE
    # writes come in whole blocks, so up to two of them may have fallen into the next interval
    return sample.n_bytes + 2 * run.block_bytes * sample.n_streams < FULL_BELOW_FRAC * asked_bytes
