"""From what iperf3 printed interval by interval to bins that say something of the link."""

from dataclasses import dataclass, replace

from linkfit.ingest.iperf3_run import Interval, Run, Totals
from linkfit.ingest.notes import Notes
from linkfit.units import BITS_PER_BYTE, format_share

# Sender intervals below 1 s show how writes were cut up, not the link; 5 % are left for timers.
SHORTEST_BIN_S = 0.95
# A first bin up to this long is mostly TCP's slow start; a longer one is kept.
SLOW_START_S = 1.5
# Where more datagrams than this were lost, what was sent says little of what the link carried.
TOLERATED_LOSS_FRAC = 0.05
# Beyond any link this is for and any test: a damaged number, not a measurement.
_MAX_RATE_BPS = 1e12
_LONGEST_S = 1e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """One throughput sample to be: an interval, neighbouring ones added up, or a whole test.

    `is_short` marks a test too short to fill the link: a lower bound whatever was asked for.
    `is_overrun` marks one whose datagrams did not all fit: the link set the rate.
    """

    start_s: float
    duration_s: float
    n_bytes: float
    n_streams: int = 1
    n_datagrams: int = 0
    n_lost: int = 0
    is_short: bool = False
    is_overrun: bool = False

    @property
    def end_s(self) -> float:
        """When the bin ends, since the start of the test. [s]"""
        return self.start_s + self.duration_s


def cleaned(intervals: list[Interval], notes: Notes) -> list[Interval]:
    """The intervals that count: once each, none that the test itself set aside.

    The clock of a test restarts after intervals that ``-O`` omits; times are moved so that they
    count from the true start.
    """
    omitted = [i for i in intervals if i.is_omitted]
    notes.repair(
        "omitted interval left out", len(omitted), "the test itself set them aside (option -O)"
    )
    offset_s = min(max((i.end_s for i in omitted), default=0.0), _LONGEST_S)
    possible = [
        i for i in intervals
        if not i.is_omitted and i.end_s <= _LONGEST_S and _is_possible(i.n_bytes, i.duration_s)
    ]  # fmt: skip
    notes.repair(
        "impossible rate", len(intervals) - len(omitted) - len(possible),
        "intervals above 1 Tbit/s or longer than 100 days are damaged; left out",
    )  # fmt: skip
    kept: list[Interval] = []
    n_repeats = 0
    for interval in possible:
        moved = replace(interval, start_s=interval.start_s + offset_s)
        if kept and moved.start_s - kept[-1].start_s < 1e-3:
            n_repeats += 1
        else:
            kept.append(moved)
    notes.repair(
        "interval printed twice", n_repeats, "some versions repeat the last one; it counts once"
    )
    return kept


def _is_possible(n_bytes: float, duration_s: float) -> bool:
    return (
        0 < duration_s <= _LONGEST_S and n_bytes * BITS_PER_BYTE <= _MAX_RATE_BPS * duration_s
    )  # fmt: skip


def throughput_bins(
    run: Run, near: list[Interval], far: list[Interval], totals: Totals, notes: Notes
) -> list[Bin]:
    """The throughput samples of one direction.

    `near` is what the reporting end counted; `far` the receiver's own intervals, where the
    report carries them: they are what arrived, so they win over the sender's.
    """
    chosen = cleaned(far, notes) if far and near and near[0].is_sender else near
    if not chosen:
        return _whole_test(totals, n_streams=1)
    if run.transport == "udp":
        return _datagram_bins(chosen, totals, notes)
    return _stream_bins(run, chosen, totals, notes)


def _stream_bins(run: Run, intervals: list[Interval], totals: Totals, notes: Notes) -> list[Bin]:
    bins = _joined(intervals, notes)
    span_s = sum(b.duration_s for b in bins)
    whole = _whole_test(totals, n_streams=intervals[0].n_streams)
    if len(bins) == 1 and intervals[0].is_sender and whole:
        bins = [replace(b, start_s=bins[0].start_s) for b in whole]
    elif span_s < SHORTEST_BIN_S and intervals[0].is_sender:
        notes.repair(
            "short test left out", len(bins),
            f"it took {span_s:.2g} s and the receiver's count is missing: the sender only filled "
            "its own buffer",
        )  # fmt: skip
        return []
    if span_s < SHORTEST_BIN_S:
        notes.find("test too short", len(bins), "under 1 s TCP does not fill a link: lower bounds")
        return [replace(b, is_short=True) for b in bins]
    # after -O the slow start has been set aside already
    if any(i.is_omitted for i in run.intervals) or bins[0].start_s > SHORTEST_BIN_S / 2:
        return bins
    if len(bins) > 1 and bins[0].duration_s <= SLOW_START_S:
        notes.repair("first second dropped", 1, "TCP's slow start is not the rate of the link")
        return bins[1:]
    notes.find(
        "slow start included", 1,
        "TCP's slow start is part of the only or first interval: its rate is a little low",
    )  # fmt: skip
    return bins


def _datagram_bins(intervals: list[Interval], totals: Totals, notes: Notes) -> list[Bin]:
    """UDP: a sender counts what it sent, so its intervals are scaled to what arrived."""
    bins = _joined(intervals, notes)
    if not intervals[0].is_sender:
        return [replace(b, is_overrun=_is_overrun(b)) for b in bins]
    if not (totals.received_bytes > 0 or totals.n_lost > 0) or not totals.sent_bytes > 0:
        notes.find(
            "arrival not known", len(bins),
            "only the sender's count is there: how much arrived is not said",
        )  # fmt: skip
        return bins
    arrived_frac = min(totals.received_bytes / totals.sent_bytes, 1.0)
    if arrived_frac < 1 - TOLERATED_LOSS_FRAC:
        notes.repair(
            "sender intervals replaced", len(bins),
            f"only {format_share(arrived_frac)} of what was sent arrived: the receiver's total is "
            "the sample",
        )  # fmt: skip
        duration_s = sum(b.duration_s for b in bins)
        if _is_possible(totals.received_bytes, totals.received_s):
            duration_s = totals.received_s
        return [
            replace(
                bins[0], duration_s=duration_s, n_bytes=totals.received_bytes, is_overrun=True,
                n_datagrams=totals.n_datagrams, n_lost=totals.n_lost,
            )
        ]  # fmt: skip
    if arrived_frac < 1:
        notes.repair(
            "sent bytes scaled to what arrived", len(bins),
            f"{1 - arrived_frac:.2%} of the datagrams were lost on the way",
        )  # fmt: skip
    return [replace(b, n_bytes=b.n_bytes * arrived_frac) for b in bins]


def _is_overrun(sample: Bin) -> bool:
    return sample.n_lost > TOLERATED_LOSS_FRAC * sample.n_datagrams


def _whole_test(totals: Totals, *, n_streams: int) -> list[Bin]:
    if not (totals.received_bytes > 0 and _is_possible(totals.received_bytes, totals.received_s)):
        return []
    return [
        Bin(
            start_s=0.0, duration_s=totals.received_s, n_bytes=totals.received_bytes,
            n_streams=n_streams, n_datagrams=totals.n_datagrams, n_lost=totals.n_lost,
        )
    ]  # fmt: skip


def _joined(intervals: list[Interval], notes: Notes) -> list[Bin]:
    """Neighbours added up to at least one second; a short last one joins the one before."""
    groups: list[list[Interval]] = []
    for interval in intervals:
        if groups and sum(i.duration_s for i in groups[-1]) < SHORTEST_BIN_S:
            groups[-1].append(interval)
        else:
            groups.append([interval])
    if len(groups) > 1 and sum(i.duration_s for i in groups[-1]) < SHORTEST_BIN_S:
        groups[-2:] = [groups[-2] + groups[-1]]
    notes.repair(
        "short intervals joined", sum(len(group) for group in groups if len(group) > 1),
        "under 1 s they show single writes, not the link: added up to 1 s and more",
    )  # fmt: skip
    return [
        Bin(
            start_s=group[0].start_s,
            duration_s=sum(i.duration_s for i in group),
            n_bytes=sum(i.n_bytes for i in group),
            n_streams=group[0].n_streams,
            n_datagrams=sum(i.n_datagrams for i in group),
            n_lost=sum(i.n_lost for i in group),
        )
        for group in groups
    ]
