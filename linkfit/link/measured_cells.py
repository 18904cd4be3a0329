"""What was measured of one direction, as cells: one part of one day each."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from linkfit._checks import one_of
from linkfit.ingest.trace import DIRECTIONS, Trace
from linkfit.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

PART_H = 6
PARTS = ("night", "morning", "afternoon", "evening")  # 0-6, 6-12, 12-18, 18-24 h
_APART_S = 60.0  # samples farther apart than this belong to different tests


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Tests of one part of one day: its mean rate, and how many tests there were."""

    day: str
    part: int
    rate_bps: float
    n_tests: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Cells of one direction and what else tells how to go on.

    `n_by_hour` counts tests by hour of the day; `single_share_frac` is the rate of one stream
    over that of several (None where both were not measured); `n_outages` counts cells in which
    nothing passed, which no logarithm takes.
    """

    direction: str
    cells: tuple[Cell, ...]
    n_by_hour: tuple[int, ...]
    single_share_frac: float | None
    n_outages: int

    @property
    def rates_bps(self) -> "NDArray[np.float64]":
        """Mean rate of each cell, shape (m,). [bit/s]"""
        return np.array([cell.rate_bps for cell in self.cells], dtype=np.float64)

    def n_in_part(self, part: int) -> int:
        """Cells of this part of the day."""
        return sum(cell.part == part for cell in self.cells)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """Samples of one direction with a time of day, in the order of their times."""

    start_s: "NDArray[np.float64]"
    duration_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    n_streams: "NDArray[np.int64]"
    source: "NDArray[np.int64]"


def measured_cells(trace: Trace, direction: str, *, timezone: str = "UTC") -> Measured:
    """Cells of `direction`: saturating samples, without any real transfers.

    Samples without a time of day are left out: which hours they tell of is not known.
    """
    rows = _rows(trace, one_of("direction", direction, DIRECTIONS) == "up")
    zone = ZoneInfo(timezone)
    tests = _numbered(rows)
    firsts = np.unique(tests, return_index=True)[1]
    bits, seconds = (np.bincount(tests, values) for values in (rows.bits, rows.duration_s))
    groups: dict[tuple[str, int], list[int]] = {}
    n_by_hour = [0] * 24
    for number, first in enumerate(firsts):
        at = datetime.fromtimestamp(float(rows.start_s[first]), tz=zone)
        n_by_hour[at.hour] += 1
        groups.setdefault((at.date().isoformat(), at.hour // PART_H), []).append(number)
    cells, n_outages = [], 0
    for (day, part), numbers in sorted(groups.items()):
        rate_bps = float(bits[numbers].sum() / seconds[numbers].sum())
        if rate_bps > 0:
            cells.append(Cell(day=day, part=part, rate_bps=rate_bps, n_tests=len(numbers)))
        else:
            n_outages += 1
    return Measured(
        direction=direction, cells=tuple(cells), n_by_hour=tuple(n_by_hour),
        single_share_frac=_single_share_frac(rows), n_outages=n_outages,
    )  # fmt: skip


def idle_rtt_s(trace: Trace) -> float | None:
    """Median round trip while the link was idle; None where none was measured. [s]"""
    latency = trace.latency
    rtts_s = latency.rtt_s[~latency.loaded]
    rtts_s = rtts_s[np.isfinite(rtts_s)]
    return float(np.median(rtts_s)) if rtts_s.size else None


def _rows(trace: Trace, is_up: bool) -> _Rows:
    clock = np.array([source.has_clock for source in trace.sources], dtype=bool)
    samples = trace.throughput
    keep = (samples.is_up == is_up) & samples.saturating
    if keep.any():
        keep &= clock[samples.source]
        start_s, duration_s, bits = samples.start_s, samples.duration_s, samples.bits
        n_streams, source = samples.n_streams, samples.source
    else:
        transfers = trace.transfers
        keep = transfers.is_up == is_up
        keep &= clock[transfers.source] if keep.size else keep
        start_s, duration_s = transfers.start_s, transfers.duration_s
        bits, source = transfers.size_bytes * 8.0, transfers.source
        n_streams = np.ones(len(transfers), dtype=np.int64)
    order = np.flatnonzero(keep)[np.argsort(start_s[keep], kind="stable")]
    return _Rows(
        start_s=start_s[order], duration_s=duration_s[order], bits=bits[order],
        n_streams=n_streams[order].astype(np.int64), source=source[order].astype(np.int64),
    )  # fmt: skip


def _numbered(rows: _Rows) -> "NDArray[np.int64]":
    """To which test each row belongs: the next one begins after a gap.

    What went on for more than an hour is a test in each hour: a record of weeks is no one test.
    """
    if not rows.start_s.size:
        return np.empty(0, dtype=np.int64)
    ends_s = np.maximum.accumulate(rows.start_s + rows.duration_s)
    begins = np.append(0, rows.start_s[1:] - ends_s[:-1] > _APART_S)
    # reports of their own that follow each other closely are tests of their own
    begins[1:] = np.maximum(begins[1:], np.diff(rows.n_streams) != 0)
    tests = np.cumsum(begins, dtype=np.int64)
    firsts = np.unique(tests, return_index=True)[1]
    lasts_s = np.maximum.reduceat(rows.start_s + rows.duration_s, firsts) - rows.start_s[firsts]
    next_hour = np.diff(rows.start_s // SECONDS_PER_HOUR) != 0
    begins[1:] = np.maximum(begins[1:], next_hour & (lasts_s[tests[1:]] > SECONDS_PER_HOUR))
    return np.cumsum(begins, dtype=np.int64)


def _single_share_frac(rows: _Rows) -> float | None:
    """Rate of one stream over the rate of several."""
    rates = []
    for those in (rows.n_streams == 1, rows.n_streams > 1):
        if not those.any():
            return None
        rates.append(float(rows.bits[those].sum() / rows.duration_s[those].sum()))
    return rates[0] / rates[1] if rates[1] > 0 else None
