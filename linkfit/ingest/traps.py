"""What may mislead in finished samples: said, never changed.

Each check looks at one trap of measured rates and answers with at most one finding a direction.
The limits are common practice, chosen so that a clean saturating series raises none.
"""

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet

import numpy as np
from numpy.typing import NDArray

from linkfit.ingest.header import parse_header, word_set
from linkfit.ingest.notes import Notes
from linkfit.ingest.storage import BLOCK_ROWS
from linkfit.ingest.trace import ThroughputSamples, Trace, TransferSamples
from linkfit.units import format_duration, format_rate

_LEAST = 30  # fewer samples show no pattern
_GAP = 1.000001  # of a sample's length: a hole of more than one missing sample, rounding aside
_PASSIVE_SHARE = 0.1  # median below this share of the 99th percentile: mostly idle
_POLL_TOLERANCE = 0.25
_PLATEAU_WIDTH = 0.02
_PLATEAU_SHARE = 0.35
_SLOW_START_SHARE = 0.7
_GRANULAR_SHARE = 0.2
_EVEN_WITHIN = 0.1
_MOST_LOOKED_AT = 500_000
_LOWEST_RSRQ_DB = -43.0  # least value that 3GPP TS 36.133 reports (from memory)
_LIMIT_WORDS = word_set("bandwidth limit cap shaped shaping")


def find_traps(trace: Trace, notes: Notes) -> None:
    """Note every trap that the samples of one file show."""
    _gaps(trace.throughput, notes)
    for way, samples in _ways(trace.throughput):
        start_s, duration_s = samples.start_s, samples.duration_s
        rates_bps = samples.bits / duration_s
        if len(samples) < _LEAST:
            continue
        _polling(way, rates_bps, start_s, duration_s, notes)
        _granular(way, rates_bps, duration_s, notes)
        _plateau(way, rates_bps, notes)
        if samples.saturating.all():
            _looks_passive(way, rates_bps, notes)
            _slow_first(way, rates_bps, start_s, duration_s, notes)
    _transfer_traps(trace.transfers, notes)


def ignored_column_traps(
    names: Sequence[str], rows: Sequence[Sequence[str]], used: AbstractSet[int], notes: Notes
) -> None:
    """Note what columns that are not read say about those that are."""
    ignored = [name for index, name in enumerate(names) if index not in used and name.strip()]
    if ignored:
        notes.find(
            "columns not read", len(ignored), f"{{n}} columns not read: {', '.join(ignored)}"
        )
    for index, name in enumerate(names):
        if index in used:
            continue
        cells = [row[index].strip() for row in rows if index < len(row) and row[index].strip()]
        words = set(parse_header(name).words)
        if "rsrq" in words and any(_below(cell, _LOWEST_RSRQ_DB) for cell in cells):
            notes.find(
                "tenths of dB",
                1,
                f"column {name!r} lies below {_LOWEST_RSRQ_DB:g} dB: it counts tenths of dB",
            )
        if words & _LIMIT_WORDS and len(set(cells)) == 1:
            notes.find(
                "limit stated",
                1,
                f"column {name!r} says {cells[0]!r} in every row: if that is a limit of the far "
                "end, the link may carry more",
            )


def _below(cell: str, limit: float) -> bool:
    try:
        return float(cell) < limit
    except ValueError:
        return False


def gap_lengths_s(
    start_s: NDArray[np.float64], duration_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Lengths of the gaps between samples that rise in time. [s]

    A gap is a hole longer than the sample before it: clocks of pollers jitter, and one lost
    reading does not end a run.
    """
    parts = []
    for at in range(0, start_s.size - 1, BLOCK_ROWS):  # in blocks, to stay small
        starts_s, lengths_s = (
            start_s[at : at + BLOCK_ROWS + 1],
            duration_s[at : at + BLOCK_ROWS + 1],
        )
        holes_s = starts_s[1:] - (starts_s[:-1] + lengths_s[:-1])
        parts.append(holes_s[holes_s > _GAP * lengths_s[:-1]])
    return np.concatenate(parts) if parts else np.empty(0)


def _ways(samples: ThroughputSamples) -> Iterator[tuple[str, ThroughputSamples]]:
    """Samples of each direction; of a very long series only its start, for patterns repeat."""
    n_down = len(samples) - int(np.count_nonzero(samples.is_up))
    for way, begin, end in (("down", 0, n_down), ("up", n_down, len(samples))):
        if end > begin:
            yield way, samples.part(begin, min(end, begin + _MOST_LOOKED_AT))


def _gaps(samples: ThroughputSamples, notes: Notes) -> None:
    """Gaps in the rows of the file: times at which neither direction was measured."""
    n_down = len(samples) - int(np.count_nonzero(samples.is_up))
    if n_down in (0, len(samples)) or _same_starts(samples, n_down):
        holes_s = _holes_s(samples, n_down % len(samples) if len(samples) else 0)
    else:
        rows_s, first = np.unique(samples.start_s, return_index=True)
        holes_s = gap_lengths_s(rows_s, samples.duration_s[first])
    if holes_s.size:
        total, longest = (format_duration(float(x)) for x in (holes_s.sum(), holes_s.max()))
        notes.find(
            "gaps",
            holes_s.size,
            f"{{n}} gaps, {total} in all, the longest {longest}: {holes_s.size + 1:,} runs, not "
            "one series",
        )


def _same_starts(samples: ThroughputSamples, n_down: int) -> bool:
    """Whether the samples of both ways begin at the same times."""
    n = len(samples)
    return n == 2 * n_down and all(
        np.array_equal(
            samples.starts_between_s(at, min(at + BLOCK_ROWS, n_down)),
            samples.starts_between_s(n_down + at, min(n_down + at + BLOCK_ROWS, n)),
        )
        for at in range(0, n_down, BLOCK_ROWS)
    )


def _holes_s(samples: ThroughputSamples, begin: int) -> NDArray[np.float64]:
    """Lengths of the gaps between the samples from row `begin` on, which rise in time. [s]"""
    parts = [np.empty(0)]
    for at in range(begin, len(samples) - 1, BLOCK_ROWS):
        starts_s = samples.starts_between_s(at, at + BLOCK_ROWS + 1)
        parts.append(gap_lengths_s(starts_s, samples.duration_s[at : at + starts_s.size]))
    return np.concatenate(parts)


def _polling(
    way: str,
    rates_bps: NDArray[np.float64],
    start_s: NDArray[np.float64],
    duration_s: NDArray[np.float64],
    notes: Notes,
) -> None:
    """A reading that came too late: 0, then twice the rate, or the other way round."""
    before, here, after = rates_bps[:-3], rates_bps[1:-2], rates_bps[2:-1]
    beyond = rates_bps[3:]
    joined = np.diff(start_s) < 2 * duration_s[:-1]
    joined = joined[:-2] & joined[1:-1] & joined[2:]
    usual = (before + beyond) / 2
    pair = np.maximum(here, after)
    one_zero = (np.minimum(here, after) == 0) & (pair > 0)
    twice = np.abs(pair - 2 * usual) <= _POLL_TOLERANCE * usual
    notes.find(
        f"polling: {way}",
        int((one_zero & twice & joined & (usual > 0)).sum()),
        f"{{n}} times a 0 stands beside twice the usual {way} rate: the counter was read too "
        "late or too early, the link did not fail",
    )


def _granular(
    way: str, rates_bps: NDArray[np.float64], duration_s: NDArray[np.float64], notes: Notes
) -> None:
    """Samples below 1 s of which many are 0 between others that are not."""
    if float(np.median(duration_s)) >= 1:
        return
    zero = rates_bps == 0
    lone = zero[1:-1] & ~zero[:-2] & ~zero[2:]
    if lone.mean() > _GRANULAR_SHARE:
        notes.find(
            f"granular: {way}",
            int(lone.sum()),
            f"{{n}} lone zeros in {way} samples below 1 s are the sender's write sizes, not the "
            "link; only averages of 1 s and more mean something",
        )


def _plateau(way: str, rates_bps: NDArray[np.float64], notes: Notes) -> None:
    """Many of the highest rates within 2 % of one value: what was offered, not what fits."""
    found = plateau_bps(rates_bps)
    if found is not None:
        level_bps, n_at_level = found
        notes.find(
            f"plateau: {way}",
            n_at_level,
            f"{{n}} of the highest {way} rates lie within 2 % of {format_rate(level_bps)}: the "
            "rate that was offered or a limit of the far end, so the link may carry more",
        )


def plateau_bps(rates_bps: NDArray[np.float64]) -> tuple[float, int] | None:
    """Level and number of samples of a plateau among the highest rates, if there is one. [bit/s]"""
    top = float(np.quantile(rates_bps, 0.995))
    high = np.sort(rates_bps[(rates_bps > 0.5 * top) & (rates_bps > 0)])
    if high.size < _LEAST:
        return None
    ends = np.searchsorted(high, high * (1 + 2 * _PLATEAU_WIDTH), side="right")
    counts = ends - np.arange(high.size)
    best = int(counts.argmax())
    if counts[best] < _PLATEAU_SHARE * high.size:
        return None
    return float(np.median(high[best : ends[best]])), int(counts[best])


def _looks_passive(way: str, rates_bps: NDArray[np.float64], notes: Notes) -> None:
    middle, high = (float(q) for q in np.quantile(rates_bps, (0.5, 0.99)))
    if high > 0 and middle < _PASSIVE_SHARE * high:
        notes.find(
            f"looks passive: {way}",
            rates_bps.size,
            f"the median {way} rate, {format_rate(middle)}, is far below the 99th percentile, "
            f"{format_rate(high)}: was the link kept full? If not, say saturating=False",
        )


def _slow_first(
    way: str,
    rates_bps: NDArray[np.float64],
    start_s: NDArray[np.float64],
    duration_s: NDArray[np.float64],
    notes: Notes,
) -> None:
    """Runs whose first sample is slower than the rest: the sender was still speeding up."""
    holes_s = start_s[1:] - (start_s[:-1] + duration_s[:-1])
    first = np.concatenate(([True], holes_s > _GAP * duration_s[:-1]))
    if first.sum() < 10 or (~first).sum() < 10:
        return
    slow_bps, usual_bps = (float(np.median(rates_bps[mask])) for mask in (first, ~first))
    if slow_bps < _SLOW_START_SHARE * usual_bps:
        notes.find(
            f"slow first sample: {way}",
            int(first.sum()),
            f"the first {way} sample of {{n}} runs has a median of {format_rate(slow_bps)}, the "
            f"others {format_rate(usual_bps)}: the sender was still speeding up",
        )


def _transfer_traps(samples: TransferSamples, notes: Notes) -> None:
    if len(samples) < _LEAST // 3:
        return
    found = plateau_bps(samples.rates_bps)
    if found is not None:
        level_bps, n_at_level = found
        notes.find(
            "plateau: transfers",
            n_at_level,
            f"{{n}} of the fastest transfers lie within 2 % of {format_rate(level_bps)}: perhaps a "
            "limit of the far end, so that the link may carry more",
        )
    spacing_s = np.diff(samples.start_s)
    waits = samples.start_s[1:] > samples.start_s[:-1] + 1.01 * samples.duration_s[:-1]
    if waits.mean() <= 0.9:  # one after the other, or at once: nobody chose the times
        return
    # a timer that fires evenly and misses a few turns is still even
    even = np.abs(spacing_s / np.median(spacing_s) - 1) < _EVEN_WITHIN
    if even.mean() < 0.5:
        notes.find(
            "uneven starts",
            len(samples),
            "{n} transfers start at uneven times: if they were sent when the link looked good, "
            "they say more than the link gives at any time",
        )
