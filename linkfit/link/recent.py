"""What the last minutes of the link say about the next ones, learnt from the record.

The state of the link at a second is told by logarithms of its mean rate over the last 1, 4, 15
and 60 s. How much of a deviation of each is still there a while later is a ridge regression on
the record's own seconds, drawn towards what ten open traces show together: a record of some
minutes leans on those, a record of hours speaks for itself, and where seconds do not depend on
each other the coefficients vanish and with them all that the last minutes change.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.link.gaps import sessions
from linkfit.link.series import GRID_S, measured_runs
from linkfit.link.stand_ins import transfer_looks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.trace import Trace
    from linkfit.link.latency import LatencyModel

WINDOWS_S = (1, 4, 15, 60)
LEADS_S = (0, 1, 2, 4, 8, 16, 32, 64, 128)  # edges of the stretches ahead that are regressed
FLOOR_FRAC = 0.03  # of the mean rate, added before the logarithm: an outage is a low rate
# Pooled over three cellular pairs, two satellite directions and two series of repeated uplink
# tests (each link centred and weighted alike; rounded, made to fall with the lead): rows LEADS_S,
# columns WINDOWS_S.
_PRIOR = np.array([
    [0.62, 0.15, 0.06, 0.00],
    [0.43, 0.18, 0.10, 0.03],
    [0.30, 0.12, 0.14, 0.06],
    [0.15, 0.07, 0.13, 0.10],
    [0.06, 0.04, 0.10, 0.13],
    [0.03, 0.00, 0.06, 0.14],
    [0.00, 0.00, 0.03, 0.12],
    [0.00, 0.00, 0.00, 0.08],
])  # fmt: skip
_PRIOR_S = 400.0  # seconds of record that the pooled coefficients count for
_MOST_SECONDS = 20_000  # of the record that the regression reads
_LEAST_SPREAD = 0.05  # of log rate that is left unexplained


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecentRates:
    """The last minutes of one direction.

    Parameters
    ----------
    rates_bps : array, shape (n,)
        Mean rate of each of the last seconds, at most 60, the latest last. [bit/s, IP layer]
    resolution_s : int
        Length of the samples behind them: shorter windows say nothing of their own. [s]
    end_s : float
        Since 1970-01-01 UTC; NaN without a clock. [s]
    """

    rates_bps: "NDArray[np.float64]"
    resolution_s: int
    end_s: float

    @property
    def windows_s(self) -> tuple[int, ...]:
        """WINDOWS_S as far as these seconds can tell them. [s]"""
        n = int(self.rates_bps.size)
        return tuple(min(max(window, self.resolution_s), n) for window in WINDOWS_S)


def recent_rates(trace: "Trace", direction: str, latency: "LatencyModel | None") -> RecentRates:
    """The latest seconds of `direction` in `trace`: saturating samples, else real transfers.

    Raises
    ------
    InputError
        If the trace holds neither in this direction.
    """
    runs = measured_runs(trace, direction)
    samples = trace.throughput
    keep = (samples.is_up == (direction == "up")) & samples.saturating
    duration_s = samples.duration_s[keep]
    if runs is None:
        looks = transfer_looks(trace, direction, latency)
        runs = None if looks is None else looks.runs
        duration_s = trace.transfers.duration_s[trace.transfers.is_up == (direction == "up")]
    if runs is None:
        raise InputError(
            f"recent: expected samples of the direction {direction} that tried for all the link "
            f"could carry, or transfers, got {_what_is_there(trace)}; give the last minutes of "
            "this direction, or leave recent out"
        )
    low = max(int(sessions(runs)[-2]), int(runs.first[-1]) - max(WINDOWS_S))
    return RecentRates(
        rates_bps=runs.rates_bps[low:],
        resolution_s=max(round(float(np.median(duration_s)) / GRID_S), 1),
        end_s=float(runs.start_s[-1]) + float(runs.lengths_s[-1]) * GRID_S,
    )


def _what_is_there(trace: "Trace") -> str:
    samples, transfers = trace.throughput, trace.transfers
    found = []
    for name, is_up in (("up", True), ("down", False)):
        counts = {
            "samples": int((samples.is_up == is_up).sum()),
            "transfers": int((transfers.is_up == is_up).sum()),
        }
        found += [f"{n} {name} {kind}" for kind, n in counts.items() if n]
    return " and ".join(found) or "no throughput at all"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """The seconds a replay draws from, ready to be asked for the state at any of them."""

    cumulative_bits: "NDArray[np.float64]"
    first: "NDArray[np.int64]"
    floor_bps: float

    @classmethod
    def from_rates(cls, rates_bps: "NDArray[np.float64]", first: "NDArray[np.int64]") -> "Record":
        """The record of `rates_bps` (1 s each) whose sessions start at `first`."""
        cumulative = np.concatenate(([0.0], np.cumsum(rates_bps)))
        floor_bps = max(FLOOR_FRAC * float(rates_bps.mean()), 1.0)
        return cls(cumulative_bits=cumulative, first=first, floor_bps=floor_bps)

    @property
    def n_seconds(self) -> int:
        """Seconds in all."""
        return int(self.first[-1])

    def states(
        self, seconds: "NDArray[np.int64]", windows_s: tuple[int, ...]
    ) -> "NDArray[np.float64]":
        """Log mean rate over each window that ends with each second, shape (..., 4).

        A window reaches back to the start of the session at most.
        """
        begin = self.first[np.searchsorted(self.first, seconds, side="right") - 1]
        end = seconds + 1
        high = self.cumulative_bits[end]
        columns = []
        for window in windows_s:
            low = np.maximum(end - window, begin)
            columns.append((high - self.cumulative_bits[low]) / (end - low))
        return np.log(np.stack(columns, axis=-1) + self.floor_bps)

    def state_of(self, recent: RecentRates) -> "NDArray[np.float64]":
        """The same of the last minutes, shape (4,)."""
        means = [recent.rates_bps[-window:].mean() for window in recent.windows_s]
        return np.log(np.array(means) + self.floor_bps)

    def ahead(self, seconds: "NDArray[np.int64]", low_s: int, high_s: int) -> "NDArray[np.float64]":
        """Log mean rate from `low_s` to `high_s` after each second; NaN past the session."""
        end = self.first[np.searchsorted(self.first, seconds, side="right")]
        low = np.minimum(seconds + 1 + low_s, end)
        high = np.minimum(seconds + 1 + high_s, end)
        mean_bps = (self.cumulative_bits[high] - self.cumulative_bits[low]) / np.maximum(
            high - low, 1
        )
        return np.where(high > low, np.log(mean_bps + self.floor_bps), np.nan)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Persistence:
    """How much of a deviation of the state is still there at each of LEADS_S.

    Parameters
    ----------
    share : array, shape (8, 4)
        Change of the log rate of a stretch ahead with the log rate of each window.
    left_sigma : array, shape (8,)
        Standard deviation of the log rate ahead that the state does not explain.
    """

    share: "NDArray[np.float64]"
    left_sigma: "NDArray[np.float64]"


def learn_persistence(record: Record, windows_s: tuple[int, ...], *, told_s: float) -> Persistence:
    """Ridge regression of the log rate ahead on the state, towards the pooled coefficients.

    Parameters
    ----------
    windows_s : tuple of int
        Of the state. [s]
    told_s : float
        Seconds of measurement behind the record, which may repeat them under drawn noise, or
        hold means of many seconds that tell nothing (0: the pooled coefficients stand). [s]

    Notes
    -----
    Minimises ``sum (y - b x)^2 / g + k v |b - b0|^2`` with x and y centred, v the mean variance
    of the state, k = 400 and g = 1 + half the length of the stretch: overlapping stretches
    repeat each other.
    """
    n = record.n_seconds
    seconds = np.unique(np.linspace(0, n - 1, min(n, _MOST_SECONDS)).astype(np.int64))
    states = record.states(seconds, windows_s)
    thinned = min(told_s, n) / seconds.size
    weight = _PRIOR_S * max(float(states.var(axis=0).mean()), 1e-4)
    share, left = _PRIOR.copy(), np.ones(_PRIOR.shape[0])
    for row, (low_s, high_s) in enumerate(pairwise(LEADS_S)):
        y = record.ahead(seconds, low_s, high_s)
        there = ~np.isnan(y)
        if np.count_nonzero(there) < 2:
            continue
        x, y = states[there] - states[there].mean(axis=0), y[there] - y[there].mean()
        scale = thinned / (1.0 + 0.5 * (high_s - low_s))
        gram = scale * x.T @ x + weight * np.eye(x.shape[1])
        share[row] = np.linalg.solve(gram, scale * x.T @ y + weight * _PRIOR[row])
        left[row] = max(float(np.std(y - x @ share[row])), _LEAST_SPREAD)
    return Persistence(share=share, left_sigma=left)
