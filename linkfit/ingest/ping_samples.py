"""One ping run to latency samples: one row a probe, inf where nothing answered."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.notes import Notes
from linkfit.ingest.ping_lines import Line
from linkfit.ingest.ping_run import PingRun
from linkfit.ingest.trace import LatencySamples, Source, Trace

_LONGEST_RUN = 5_000_000
_USUAL_SPACING_S = 1.0
_ZONE_STEP_S = 900.0  # zones differ by quarters of an hour
_FIRST_IS_HIGH = 2.0
_FEWEST_FOR_FIRST = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answers:
    """The first answer to each probe, by rising sequence number; shape (n,) each."""

    sequences: NDArray[Any]
    sent_s: NDArray[Any]
    rtt_s: NDArray[Any]


def run_to_trace(run: PingRun, source: Source) -> Trace:
    """The samples, repairs and findings of one run.

    Raises
    ------
    TraceError
        If the run claims more probes than any run can have.
    """
    notes = Notes(source.name)
    latency = _from_lines(run, notes) if run.has_probes else _from_summary(run, notes)
    return Trace(sources=(source,), latency=latency, repairs=notes.repairs, findings=notes.findings)


def _from_summary(run: PingRun, notes: Notes) -> LatencySamples:
    """A run of which only the summary was printed: one row for all, or all lost, row by row."""
    counts = run.counts
    if counts is None or counts.n_sent == 0:
        return LatencySamples()
    n_received = counts.n_received
    if n_received > counts.n_sent:
        notes.find(
            "more answers than probes", n_received - counts.n_sent,
            f"the summary counts {n_received} answers to {counts.n_sent} probes: duplicates",
        )  # fmt: skip
        n_received = counts.n_sent
    if n_received == 0:
        lost = np.arange(_checked(counts.n_sent, notes.name))
        return _rows(_base_s(run) + _spacing_s(run, notes) * lost, np.full(lost.size, math.inf))
    if run.round_trips is None or not 0 < run.round_trips.rtt_s < math.inf:
        return LatencySamples()
    return LatencySamples(
        time_s=np.array([_base_s(run)]),
        rtt_s=np.array([run.round_trips.rtt_s]),
        spread_s=np.array([run.round_trips.spread_s]),
        n_probes=np.array([counts.n_sent]),
        n_lost=np.array([counts.n_sent - n_received]),
        loaded=np.zeros(1),
        source=np.zeros(1),
    )


def _from_lines(run: PingRun, notes: Notes) -> LatencySamples:
    answers = _first_answers(run, notes)
    lost = _lost(run, answers.sequences, notes)
    usable = answers.rtt_s > 0
    notes.repair(
        "negative round trip dropped", int((~usable).sum()),
        "answers with a negative time (the clock was set while ping ran) have no usable time",
    )  # fmt: skip
    n_untimed = len(run.answered) - int(np.isin(list(run.answered), answers.sequences).sum())
    notes.repair(
        "answer without a time dropped", n_untimed,
        "answers came without a time: the probes were too small to carry one",
    )  # fmt: skip
    notes.repair(
        "time below the clock's step", run.n_below,
        "times such as '<1 ms' were read as half of that step",
    )  # fmt: skip
    _check_round_trips(run, answers.rtt_s[usable], notes)
    sequences = np.concatenate((answers.sequences[usable], lost))
    rtt_s = np.concatenate((answers.rtt_s[usable], np.full(lost.size, math.inf)))
    order = np.argsort(sequences)
    return _rows(_times_s(run, answers, sequences[order], notes), rtt_s[order])


def _first_answers(run: PingRun, notes: Notes) -> _Answers:
    """Each probe's first answer: further ones do not count."""
    arrived = np.frombuffer(run.sequences, dtype=np.int64) if run.sequences else np.empty(0, int)
    sequences, first = np.unique(arrived, return_index=True)
    notes.repair(
        "duplicate reply dropped", arrived.size - sequences.size,
        "further answers to one probe do not count",
    )  # fmt: skip
    in_order = arrived[np.sort(first)]
    n_reordered = int((in_order < np.maximum.accumulate(in_order)).sum()) if in_order.size else 0
    notes.find("replies out of order", n_reordered, "answers came in another order than sent")
    rtt_s = np.array(run.rtts_s)[first]
    return _Answers(
        sequences=sequences,
        sent_s=np.array(run.times_s)[first] - np.maximum(rtt_s, 0.0),
        rtt_s=rtt_s,
    )


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


def _lost(run: PingRun, replied: NDArray[Any], notes: Notes) -> NDArray[Any]:
    """Sequence numbers of the probes that nothing answered, those reported as lost first."""
    answered = np.union1d(replied, np.array(sorted(run.answered), dtype=np.int64))
    explicit = np.setdiff1d(np.array(sorted(run.unanswered), dtype=np.int64), answered)
    seen = np.union1d(answered, explicit)
    first, last = int(seen[0]), int(seen[-1])
    is_whole = run.header is not None and not run.is_windows
    if run.header is not None and is_whole:  # 0 or 1, as the dialect counts
        first = min(first, 0 if run.header.from_zero else 1)
        if run.counts is not None:
            last = max(last, first + run.counts.n_sent - 1)
    n_range = _checked(last - first + 1, notes.name)
    is_silent = np.ones(n_range, dtype=np.bool_)
    is_silent[seen - first] = False
    silent = np.flatnonzero(is_silent) + first
    if run.counts is None:
        notes.find(
            "run cut short", 1, "there is no summary: what followed the last line is unknown"
        )
    elif run.header is not None:
        silent = _believed(run, run.counts, silent, explicit.size, n_range, notes)
    return np.concatenate((explicit, silent))


def _believed(
    run: PingRun, counts: Line, silent: NDArray[Any], n_explicit: int, n_range: int, notes: Notes
) -> NDArray[Any]:
    """Those of the `silent` probes that the summary counts as lost.

    A line that cannot be read leaves a hole in the sequence although its answer came; the
    summary knows. It does not say which holes are which: the last ones are given up.
    """
    n_lost_lines = n_explicit + silent.size
    n_extra = n_lost_lines - (counts.n_sent - counts.n_received)
    if counts.n_sent == n_range and n_extra == 0:
        return silent
    notes.find(
        "summary contradicts the lines", abs(n_extra) or abs(counts.n_sent - n_range),
        f"the summary says {counts.n_received} of {counts.n_sent} answered, the lines say "
        f"{n_range - n_lost_lines} of {n_range}",
    )  # fmt: skip
    if run.is_windows or counts.n_sent != n_range or n_extra < 0:
        return silent
    n_kept = max(silent.size - n_extra, 0)
    notes.repair(
        "unreadable answer left out", silent.size - n_kept,
        "the summary counts them as answered, but no line says when",
    )  # fmt: skip
    return silent[:n_kept]


def _check_round_trips(run: PingRun, rtts_s: NDArray[Any], notes: Notes) -> None:
    if rtts_s.size >= _FEWEST_FOR_FIRST:
        usual_s = float(np.median(rtts_s[1:]))
        notes.find(
            "first round trip is high", int(rtts_s[0] > _FIRST_IS_HIGH * usual_s),
            f"{rtts_s[0] * 1e3:.3g} ms against {usual_s * 1e3:.3g} ms: address lookup or the "
            "radio waking up; it was kept",
        )  # fmt: skip
    if run.round_trips is None or not rtts_s.size or len(run.sequences) > rtts_s.size:
        return
    mean_s, told_s = float(np.mean(rtts_s)), run.round_trips.rtt_s
    notes.find(
        "mean contradicts the lines", int(abs(mean_s - told_s) > 0.05 * mean_s + 1e-3),
        f"the summary's mean is {told_s * 1e3:.4g} ms, that of the lines {mean_s * 1e3:.4g} ms",
    )  # fmt: skip


def _zone_shift_s(run: PingRun, stamp_s: float, n_stamps: int, notes: Notes) -> float:
    """What to add to date stamps, where a line says the start of the run in UTC as well."""
    if run.start_s is None:
        return 0.0
    shift_s = round((run.start_s - stamp_s) / _ZONE_STEP_S) * _ZONE_STEP_S
    notes.repair(
        "clock zone corrected", n_stamps if shift_s else 0,
        f"the date stamps differ from the start time by {shift_s / 3600:g} h; moved to UTC",
    )  # fmt: skip
    return shift_s


def _base_s(run: PingRun) -> float:
    """When a run without stamped lines began: its labelled start, its header's stamp, or 0."""
    stamps_s = (run.start_s, run.header.time_s if run.header else None)
    return next((time_s for time_s in stamps_s if time_s is not None), 0.0)


def _spacing_s(run: PingRun, notes: Notes) -> float:
    counts = run.counts
    if counts is not None and counts.span_s and counts.n_sent > 1:
        return counts.span_s / (counts.n_sent - 1)
    notes.find("spacing assumed", 1, "the text does not say how far apart probes were: 1 s taken")
    return _USUAL_SPACING_S


def _times_s(
    run: PingRun, answers: _Answers, sequences: NDArray[Any], notes: Notes
) -> NDArray[Any]:
    """When each probe was sent, from the stamps of answers, else from the spacing."""
    stamped = ~np.isnan(answers.sent_s)
    known = dict(
        zip(answers.sequences[stamped].tolist(), answers.sent_s[stamped].tolist(), strict=True)
    )
    for sequence, time_s in run.unanswered.items():
        if time_s is not None:
            known.setdefault(sequence, time_s)
    if not sequences.size:
        return np.empty(0)
    if not known:
        return _base_s(run) + (sequences - sequences[0]) * _spacing_s(run, notes)
    at = np.array(sorted(known), dtype=np.int64)
    known_s = np.array([known[sequence] for sequence in at.tolist()])
    n_back = int((np.diff(known_s) < -1.0).sum())
    notes.find("clock stepped back", n_back, "stamps fall by more than 1 s from line to line")
    if at.size > 1:
        spacing_s = max(float(np.median(np.diff(known_s) / np.diff(at))), 0.0)
    else:
        spacing_s = _spacing_s(run, notes)
    before_s = np.minimum(sequences - at[0], 0) * spacing_s
    after_s = np.maximum(sequences - at[-1], 0) * spacing_s
    inside_s = np.interp(sequences, at, known_s)
    return inside_s + before_s + after_s + _zone_shift_s(run, known_s[0], at.size, notes)
