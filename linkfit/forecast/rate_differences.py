"""Rates of two links compared: block bootstrap of both records, and the drift between days.

Two records of one link differ for two reasons. Each is a short look at a varying rate: blocks of
seconds drawn again tell how far its percentiles could have come out otherwise. And the link
itself moves between one hour or day and the next, which no single record shows: the level spread
of the fitted link, learnt on open traces, stands for that.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri, stdtrit

from linkfit._checks import count
from linkfit.forecast.differences import Difference, difference_of
from linkfit.forecast.draws import INTERVAL_LEVELS
from linkfit.link.dependence import optimal_block_lengths, stationary_index
from linkfit.link.futures import replayed_rates
from linkfit.link.level import student_4

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.link.futures import DirectionModel

LEVELS = (0.05, 0.5, 0.95)
STATISTICS = ("5 %", "median", "95 %", "mean")  # `LEVELS`, and the mean after them
N_RESAMPLES = 1000
_WORK = 30_000_000  # seconds drawn again at most, for one direction of one link
_LEAST_RESAMPLES = 300
_MAX_BLOCK_VALUES = 20_000
_LEAST_FOR_BLOCKS = 8
_MOST_BLOCK_FRAC = 1 / 3
_SURE_PROB = 0.975
_DOUBLED = 2.0  # see the notes of `rate_percentiles`
_MANY_TESTS = 10  # fewer runs than this, drawn whole, would be too few blocks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RatePercentiles:
    """Percentiles of the seconds of one record, and what they could have been.

    Parameters
    ----------
    rates_bps : array, shape (4,)
        `STATISTICS` of single seconds. [bit/s at the IP layer]
    resampled_bps : array, shape (b, 4)
        The same in resamples, each moved by a level that the link may have on other days.
    block_s : float
        Mean block of the resamples. [s]
    level_sigma : float
        Standard deviation of that level's logarithm.
    """

    rates_bps: "NDArray[np.float64]"
    resampled_bps: "NDArray[np.float64]"
    block_s: float
    level_sigma: float

    def interval_bps(self) -> "NDArray[np.float64]":
        """5 and 95 % points of each statistic, shape (2, 4). [bit/s at the IP layer]"""
        ends_bps = np.quantile(self.resampled_bps, INTERVAL_LEVELS, axis=0)
        return np.stack(
            (np.minimum(ends_bps[0], self.rates_bps), np.maximum(ends_bps[1], self.rates_bps))
        )


def rate_percentiles(
    model: "DirectionModel", rng: "Generator", *, n_resamples: int = N_RESAMPLES
) -> RatePercentiles:
    """Percentiles of the measured seconds of `model`, resampled in blocks.

    Parameters
    ----------
    model : DirectionModel
        One direction of a fitted link.
    n_resamples : int
        At most; fewer, never below 300, for a record of days.

    Notes
    -----
    Stationary bootstrap (Politis & Romano 1994) of the record's seconds. The mean block is the
    longest of those that Politis & White (2004) give for the rates and for being below each
    percentile, which is what a percentile averages; where there are ten tests or more no shorter
    than their mean, since the seconds of a test stand or fall together. It is doubled, since the
    rule comes out short for records of a few correlation times: with a correlation of 0.99 from
    second to second and 20 min a side, the two halves of one process were called different (any
    percentile, no drift) in 25 % of cases as the rule stands and 10 % doubled, where 5 % is meant;
    with 0.95 and as long in 8 and 2 %. Samples too long
    to show single seconds carry the same random seconds as in the link's futures.
    """
    bank_bps, _ = replayed_rates(model, None, rng)
    n = model.runs.rates_bps.size
    tiles = bank_bps.reshape(-1, n)
    rates_bps = np.append(np.quantile(bank_bps, LEVELS), bank_bps.mean())
    block_s = _block_s(model, rates_bps)
    n_resamples = min(
        count("n_resamples", n_resamples), max(_WORK // bank_bps.size, _LEAST_RESAMPLES)
    )
    resampled = np.empty((n_resamples, len(STATISTICS)))
    for row in range(n_resamples):
        drawn_bps = tiles[:, stationary_index(n, block_s, rng)]
        resampled[row, -1] = drawn_bps.mean()
        resampled[row, :-1] = _percentiles(drawn_bps.ravel())
    resampled = _widened(resampled, rates_bps, n / block_s)
    sigma = level_sigma(model)
    level = np.exp(sigma * student_4(rng.random(n_resamples)))
    return RatePercentiles(
        rates_bps=rates_bps,
        resampled_bps=resampled * level[:, None],
        block_s=block_s,
        level_sigma=sigma,
    )


def _widened(
    resampled_bps: "NDArray[np.float64]", rates_bps: "NDArray[np.float64]", n_blocks: float
) -> "NDArray[np.float64]":
    """Deviations made as wide as Student's t is for so few blocks: resamples know no such doubt."""
    n_free = max(n_blocks - 1, 1.0)
    factor = stdtrit(n_free, _SURE_PROB) / ndtri(_SURE_PROB) * np.sqrt((n_free + 1) / n_free)
    return np.maximum(rates_bps + factor * (resampled_bps - rates_bps), 0.0)


def level_sigma(model: "DirectionModel") -> float:
    """Spread of the log level of one record against the link's other days. [1]"""
    return float(np.hypot(model.level.unknown_sigma, model.level.chance_sigma))


def _block_s(model: "DirectionModel", percentiles_bps: "NDArray[np.float64]") -> float:
    """Mean block that suits the rates and all their percentiles. [s]"""
    rates_bps = model.runs.rates_bps
    n = rates_bps.size
    latest_bps = rates_bps[-_MAX_BLOCK_VALUES:]
    if latest_bps.size < _LEAST_FOR_BLOCKS:
        return 1.0
    below = (latest_bps <= limit_bps for limit_bps in percentiles_bps[: len(LEVELS)])
    lengths = [optimal_block_lengths(b.astype(np.float64))[0] for b in below]
    lengths.append(optimal_block_lengths(latest_bps)[0])
    if model.runs.n_runs >= _MANY_TESTS:
        lengths.append(float(model.runs.lengths_s.mean()))
    return float(np.clip(max(lengths) * _DOUBLED, 1.0, max(n * _MOST_BLOCK_FRAC, 1.0)))


def _percentiles(values: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Linear percentiles at `LEVELS` by partition: a third of the time of numpy's own."""
    place = np.array(LEVELS) * (values.size - 1)
    low = place.astype(np.int64)
    high = np.minimum(low + 1, values.size - 1)
    values.partition(np.unique(np.concatenate((low, high))))
    found_values: NDArray[np.float64] = values[low] + (place - low) * (values[high] - values[low])
    return found_values


def rate_differences(
    first: RatePercentiles,
    second: RatePercentiles,
    rng: "Generator",
    *,
    hours_sigma: float = 0.0,
) -> tuple[Difference, ...]:
    """One difference for each of `STATISTICS`. [bit/s at the IP layer]

    Resamples of the two records are paired at random: the records are of different links, or of
    different times, and tell nothing of each other. `hours_sigma` is the spread of the log ratio
    that other hours of the day may make by themselves.
    """
    n = min(first.resampled_bps.shape[0], second.resampled_bps.shape[0])
    ones = rng.permutation(first.resampled_bps)[:n]
    others = rng.permutation(second.resampled_bps)[:n]
    others = others * np.exp(hours_sigma * rng.standard_normal(n))[:, None]
    return tuple(
        difference_of(
            what,
            "bit/s",
            (float(first.rates_bps[q]), float(second.rates_bps[q])),
            ones[:, q],
            others[:, q],
        )
        for q, what in enumerate(STATISTICS)
    )
