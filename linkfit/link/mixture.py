"""Files that look like measurements of different links, told before they are made into one."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.ingest.trace import DIRECTIONS, Finding, Trace

if TYPE_CHECKING:
    from numpy.typing import NDArray

KIND = "several links?"
# one link at its best and worst hours differs by less than that (common practice; open uplink
# tests of one place vary by 0.30 to 0.52 of their mean); a judgement
LEAST_RATIO = 3.0
LEAST_GAP = 1.25  # between neighbours on either side: tests of a few seconds fill the range evenly
_LEAST_VALUES = 10  # on either side
_LEAST_FILES_FRAC = 0.2  # a bad evening among many files is no other link
_MOST_VALUES = 10_000  # of each file


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _File:
    """The values of one source, and their median."""

    name: str
    values: "NDArray[np.float64]"

    @property
    def median(self) -> float:
        return float(np.median(self.values))


def mixed_links(trace: Trace) -> tuple[Finding, ...]:
    """A finding for each direction, and for round trips, whose files fall into two camps.

    Notes
    -----
    Files are ordered by their medians and split where the two sides differ most. They look like
    two links where the medians of the sides differ by a factor of 3 or more and the lower three
    quarters of one side lie below the upper three quarters of the other. Real transfers are
    compared by size over duration among the larger half of all sizes, since small ones tell of
    round trips. A side with less than a fifth of the files is a bad evening, not a link.
    """
    found = []
    for direction in DIRECTIONS:
        text = _told(_rates_by_file(trace, direction), "rates")
        if text is not None:
            found.append(Finding(source=direction, kind=KIND, n_samples=2, text=text))
    text = _told(_round_trips_by_file(trace), "round trips")
    if text is not None:
        found.append(Finding(source="round trips", kind=KIND, n_samples=2, text=text))
    return tuple(found)


def _rates_by_file(trace: Trace, direction: str) -> list[_File]:
    """Rates of saturating samples by source; without any, of the larger transfers."""
    samples, is_up = trace.throughput, direction == "up"
    keep = (samples.is_up == is_up) & samples.saturating
    if keep.any():
        rows = np.flatnonzero(keep)
        return _by_file(trace, samples.source[rows], samples.bits[rows] / samples.duration_s[rows])
    transfers = trace.transfers.take(trace.transfers.is_up == is_up)
    if not len(transfers):
        return []
    large = transfers.size_bytes >= np.median(transfers.size_bytes)
    return _by_file(trace, transfers.source[large], transfers.rates_bps[large])


def _round_trips_by_file(trace: Trace) -> list[_File]:
    """Idle round trips that came back, by source."""
    samples = trace.latency
    keep = np.isfinite(samples.rtt_s) & ~samples.loaded
    return _by_file(trace, samples.source[keep], samples.rtt_s[keep]) if keep.any() else []


def _by_file(
    trace: Trace, source: "NDArray[np.int64]", values: "NDArray[np.float64]"
) -> list[_File]:
    """Values above 0 of each source, in order of their medians."""
    files = []
    for index in np.unique(source):
        mine = values[(source == index) & (values > 0)]
        if mine.size:
            every = -(-mine.size // _MOST_VALUES)
            files.append(_File(name=trace.sources[index].name, values=mine[::every]))
    return sorted(files, key=lambda file: file.median)


def _told(files: list[_File], what: str) -> str | None:
    """The sentence about two camps; None where files are of one kind."""
    if len(files) < 2:
        return None
    n_least = max(int(np.ceil(_LEAST_FILES_FRAC * len(files))), 1)
    cuts = [(_ratio(files, cut), cut) for cut in range(n_least, len(files) - n_least + 1)]
    ratio, cut = max(cuts, default=(0.0, 0))
    if ratio < LEAST_RATIO:
        return None
    return (
        f"{what} in {_names(files[cut:])} are {ratio:.2g} times those in {_names(files[:cut])}: "
        "they look like two links, and one model of both holds for neither; if so, fit each alone"
    )


def _ratio(files: list[_File], cut: int) -> float:
    """How many times the median of the files from `cut` on is that of the others; 0: they mix."""
    if files[cut].median < LEAST_GAP * files[cut - 1].median:
        return 0.0
    low, high = (np.concatenate([f.values for f in part]) for part in (files[:cut], files[cut:]))
    if min(low.size, high.size) < _LEAST_VALUES:
        return 0.0
    if np.quantile(low, 0.75) >= np.quantile(high, 0.25):
        return 0.0
    return float(np.median(high) / np.median(low))


def _names(files: list[_File]) -> str:
    """The first file's name and how many there are besides."""
    more = len(files) - 1
    return files[0].name if not more else f"{files[0].name} and {more} more"
