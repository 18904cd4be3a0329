"""One ping run: its lines gathered by sequence number, then turned into samples."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.ping_lines import Line
from linkfit.ingest.trace import Finding, LatencySamples, Repair, Source, Trace

_SEQUENCES = 65536  # ICMP sequence numbers have 16 bits (RFC 792)
_LONGEST_RUN = 5_000_000
_USUAL_SPACING_S = 1.0
_ZONE_STEP_S = 900.0  # zones differ by quarters of an hour
_FIRST_IS_HIGH = 2.0


@dataclass(slots=True, kw_only=True)
class PingRun:
    """The probes of one run under construction, keyed by unwrapped sequence number."""

    start_s: float | None = None
    header: Line | None = None
    counts: Line | None = None
    round_trips: Line | None = None
    is_windows: bool = False
    replies: dict[int, Line] = field(default_factory=dict)
    answered: set[int] = field(default_factory=set)
    unanswered: dict[int, Line] = field(default_factory=dict)
    last: int | None = None
    n_duplicates: int = 0
    n_reordered: int = 0

    @property
    def takes_losses(self) -> bool:
        """Whether a line that says nothing else is a lost probe (Windows, before its summary)."""
        return self.is_windows and self.counts is None

    @property
    def has_measured(self) -> bool:
        """Whether anything came of the run."""
        return bool(self.replies or self.unanswered or self.answered or self.counts)

    @property
    def peer(self) -> str:
        """The host as the header names it."""
        return self.header.peer if self.header else ""

    @property
    def has_clock(self) -> bool:
        """Whether any line says the time of day."""
        return self.start_s is not None or any(
            line.time_s is not None for line in (*self.replies.values(), *self._heads())
        )

    def _heads(self) -> list[Line]:
        return [self.header] if self.header else []

    def ends_before(self, line: Line) -> bool:
        """Whether `line` belongs to a new run."""
        if line.kind == "header":
            return True
        if line.kind in ("reply", "answered", "unanswered"):
            if self.counts is not None:
                return True
            return (
                line.sequence is not None and line.sequence <= 1 and not line.is_marked_duplicate
                and line.sequence in self.replies and (self.last or 0) - line.sequence >= 5
            )  # fmt: skip
        return line.kind == "counts" and self.counts is not None

    def add(self, line: Line) -> None:
        """Take in one line."""
        if line.kind == "header":
            self.header, self.is_windows = line, line.is_windows
        elif line.kind == "counts":
            self.counts = line
        elif line.kind == "round trips":
            self.round_trips = line
        else:
            self.is_windows |= line.is_windows
            self._add_probe(line)

    def _add_probe(self, line: Line) -> None:
        sequence = self._unwrapped(line.sequence)
        if line.kind == "reply":
            if sequence in self.replies:
                self.n_duplicates += 1
                return
            if self.last is not None and sequence < self.last:
                self.n_reordered += 1
            self.replies[sequence] = line
        elif line.kind == "answered":
            self.answered.add(sequence)
        else:
            self.unanswered.setdefault(sequence, line)
        self.last = sequence if self.last is None else max(self.last, sequence)

    def _unwrapped(self, sequence: int | None) -> int:
        """Numbers that go on beyond 65535; Windows prints none, so its lines are counted."""
        if sequence is None:
            return 0 if self.last is None else self.last + 1
        if self.last is None or sequence >= _SEQUENCES:
            return sequence
        return sequence + round((self.last - sequence) / _SEQUENCES) * _SEQUENCES


@dataclass(frozen=True, slots=True)
class _Notes:
    """Repairs and findings on the way, before they are frozen."""

    source: str
    repairs: list[Repair] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def repair(self, kind: str, n_samples: int, text: str) -> None:
        if n_samples:
            self.repairs.append(
                Repair(source=self.source, kind=kind, n_samples=n_samples, text=text)
            )

    def find(self, kind: str, n_samples: int, text: str) -> None:
        if n_samples:
            self.findings.append(
                Finding(source=self.source, kind=kind, n_samples=n_samples, text=text)
            )


def run_to_trace(run: PingRun, source: Source) -> Trace:
    """The samples, repairs and findings of one run.

    Raises
    ------
    TraceError
        If the run claims more probes than any run can have.
    """
    notes = _Notes(source.name)
    if not (run.replies or run.unanswered or run.answered):
        latency = _from_summary(run, notes)
    else:
        latency = _from_lines(run, notes)
    return Trace(
        sources=(source,),
        latency=latency,
        repairs=tuple(notes.repairs),
        findings=tuple(notes.findings),
    )


def _from_summary(run: PingRun, notes: _Notes) -> LatencySamples:
    """A run of which only the summary was printed: one row for all, or all lost, row by row."""
    counts = run.counts
    if counts is None or counts.n_sent == 0:
        return LatencySamples()
    n_received = min(counts.n_received, counts.n_sent)
    base_s = _base_s(run)
    if n_received == 0:
        lost = np.arange(_checked(counts.n_sent, notes.source))
        return _rows(base_s + _spacing_s(run, notes) * lost, np.full(lost.size, math.inf))
    if run.round_trips is None or not run.round_trips.rtt_s > 0:
        return LatencySamples()
    return LatencySamples(
        time_s=np.array([base_s]),
        rtt_s=np.array([run.round_trips.rtt_s]),
        spread_s=np.array([run.round_trips.spread_s]),
        n_probes=np.array([counts.n_sent]),
        n_lost=np.array([counts.n_sent - n_received]),
        loaded=np.zeros(1),
        source=np.zeros(1),
    )


def _from_lines(run: PingRun, notes: _Notes) -> LatencySamples:
    lost = _lost(run, notes)
    usable = {s: line.rtt_s for s, line in run.replies.items() if line.rtt_s > 0}
    notes.repair(
        "negative round trip dropped", len(run.replies) - len(usable),
        "answers with a negative time (the clock was set while ping ran) have no usable time",
    )  # fmt: skip
    notes.repair(
        "answer without a time dropped", len(run.answered - set(run.replies)),
        "answers came without a time: the probes were too small to carry one",
    )  # fmt: skip
    notes.repair(
        "time below the clock's step", sum(line.is_below for line in run.replies.values()),
        "times such as '<1 ms' were read as half of that step",
    )  # fmt: skip
    notes.repair(
        "duplicate reply dropped", run.n_duplicates, "further answers to one probe do not count"
    )
    notes.find("replies out of order", run.n_reordered, "answers came in another order than sent")
    _check_round_trips(run, usable, notes)
    sequences = np.array(sorted(usable.keys() | lost), dtype=np.int64)
    rtt_s = np.array([usable.get(int(s), math.inf) for s in sequences])
    return _rows(_times_s(run, sequences, notes), rtt_s)


def _rows(time_s: NDArray[Any], rtt_s: NDArray[Any]) -> LatencySamples:
    n = rtt_s.size
    return LatencySamples(
        time_s=time_s, rtt_s=rtt_s, spread_s=np.zeros(n), n_probes=np.ones(n),
        n_lost=np.isinf(rtt_s), loaded=np.zeros(n), source=np.zeros(n),
    )  # fmt: skip


def _checked(n_probes: int, where: str) -> int:
    if n_probes > _LONGEST_RUN:
        raise TraceError(
            f"{where}: expected at most {_LONGEST_RUN} probes in one run, got {n_probes}; "
            "are the sequence numbers damaged? split the file at its PING lines"
        )
    return n_probes


def _first_sequence(run: PingRun) -> int:
    """0 or 1, as the dialect counts; where the header is missing, what was seen first."""
    seen = min((*run.replies, *run.unanswered, *run.answered))
    if run.header is None or run.is_windows:
        return seen
    return min(seen, 0 if run.header.from_zero else 1)


def _lost(run: PingRun, notes: _Notes) -> set[int]:
    """Sequence numbers of the probes that nothing answered."""
    seen = run.replies.keys() | run.answered
    explicit = run.unanswered.keys() - seen
    first = _first_sequence(run)
    last = max((*seen, *explicit))
    counts = run.counts
    if counts is not None and not run.is_windows and run.header is not None:
        last = max(last, first + counts.n_sent - 1)
    _checked(last - first + 1, notes.source)
    silent = set(range(first, last + 1)) - seen - explicit
    if counts is None:
        notes.find(
            "run cut short", 1, "there is no summary: what followed the last line is unknown"
        )
        return explicit | silent
    return explicit | _believed(run, counts, explicit, silent, last - first + 1, notes)


def _believed(
    run: PingRun, counts: Line, explicit: set[int], silent: set[int], n_range: int, notes: _Notes
) -> set[int]:
    """Those of the `silent` probes that the summary counts as lost.

    A line that cannot be read leaves a hole in the sequence although its answer came; the
    summary knows. It does not say which holes are which: the last ones are given up.
    """
    n_lost_lines = len(explicit) + len(silent)
    n_lost_counts = counts.n_sent - counts.n_received
    is_whole = run.is_windows or run.header is not None
    if not is_whole or (counts.n_sent == n_range and n_lost_counts == n_lost_lines):
        return silent
    notes.find(
        "summary contradicts the lines", abs(n_lost_lines - n_lost_counts) or 1,
        f"the summary says {counts.n_received} of {counts.n_sent} answered, the lines say "
        f"{n_range - n_lost_lines} of {n_range}",
    )  # fmt: skip
    n_extra = n_lost_lines - n_lost_counts
    if run.is_windows or counts.n_sent != n_range or not n_extra > 0:
        return silent
    kept = sorted(silent)[: max(len(silent) - n_extra, 0)]
    notes.repair(
        "unreadable answer left out", len(silent) - len(kept),
        "the summary counts them as answered, but no line says when",
    )  # fmt: skip
    return set(kept)


def _check_round_trips(run: PingRun, usable: dict[int, float], notes: _Notes) -> None:
    rtts_s = [usable[s] for s in sorted(usable)]
    if len(rtts_s) >= 5:
        usual_s = float(np.median(rtts_s[1:]))
        if rtts_s[0] > _FIRST_IS_HIGH * usual_s:
            notes.find(
                "first round trip is high", 1,
                f"{rtts_s[0] * 1e3:.3g} ms against {usual_s * 1e3:.3g} ms: address lookup or the "
                "radio waking up; it was kept",
            )  # fmt: skip
    if run.round_trips is None or not rtts_s or run.n_duplicates:
        return
    mean_s, told_s = float(np.mean(rtts_s)), run.round_trips.rtt_s
    if abs(mean_s - told_s) > 0.05 * mean_s + 1e-3:
        notes.find(
            "summary contradicts the lines", 1,
            f"the summary's mean is {told_s * 1e3:.4g} ms, that of the lines {mean_s * 1e3:.4g} ms",
        )  # fmt: skip


def _zone_shift_s(run: PingRun, stamp_s: float, notes: _Notes) -> float:
    """What to add to date stamps, where a line says the start of the run in UTC as well."""
    if run.start_s is None:
        return 0.0
    shift_s = round((run.start_s - stamp_s) / _ZONE_STEP_S) * _ZONE_STEP_S
    if shift_s:
        notes.repair(
            "clock zone corrected", len(run.replies) or 1,
            f"the date stamps differ from the start time by {shift_s / 3600:g} h; moved to UTC",
        )  # fmt: skip
    return shift_s


def _base_s(run: PingRun) -> float:
    """When a run without lines began: its labelled start, else its header's stamp, else 0."""
    if run.start_s is not None:
        return run.start_s
    return next((line.time_s for line in run._heads() if line.time_s is not None), 0.0)


def _spacing_s(run: PingRun, notes: _Notes) -> float:
    counts = run.counts
    if counts is not None and counts.span_s and counts.n_sent > 1:
        return counts.span_s / (counts.n_sent - 1)
    notes.find("spacing assumed", 1, "the text does not say how far apart probes were: 1 s taken")
    return _USUAL_SPACING_S


def _times_s(run: PingRun, sequences: NDArray[np.int64], notes: _Notes) -> NDArray[np.float64]:
    """When each probe was sent, from the stamps of answers, else from the spacing."""
    stamped = {
        s: line.time_s - max(line.rtt_s, 0.0)
        for s, line in run.replies.items()
        if line.time_s is not None
    }
    for s, line in run.unanswered.items():
        if line.time_s is not None:
            stamped.setdefault(s, line.time_s)
    if not sequences.size:
        return np.empty(0)
    if not stamped:
        return _base_s(run) + (sequences - sequences[0]) * _spacing_s(run, notes)
    known = np.array(sorted(stamped), dtype=np.float64)
    times_s = np.array([stamped[int(s)] for s in known])
    n_back = int((np.diff(times_s) < -1.0).sum())
    notes.find("clock stepped back", n_back, "stamps fall by more than 1 s from line to line")
    if known.size > 1:
        spacing_s = max(float(np.median(np.diff(times_s) / np.diff(known))), 0.0)
    else:
        spacing_s = _spacing_s(run, notes)
    inside = np.interp(sequences, known, times_s)
    before = np.minimum(sequences - known[0], 0.0) * spacing_s
    after = np.maximum(sequences - known[-1], 0.0) * spacing_s
    return inside + before + after + _zone_shift_s(run, times_s[0], notes)
