"""Curves that set a link model beside what was measured: quantiles, dependence, averages."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.model import LinkModel
from linkfit.link.series import MeasuredRuns

if TYPE_CHECKING:
    from numpy.typing import NDArray

N_WORLDS = 20
_DRAWS_PER_WORLD = 6
_LONGEST_S = 600
_LEVELS = np.concatenate(([0.001, 0.002, 0.005], np.arange(1, 100) / 100, [0.995, 0.998, 0.999]))
AVERAGES_S = (1, 2, 5, 10, 20, 30, 60, 120, 300)
_MAX_LAG_S = 60
_LEAST_WINDOWS = 5  # fewer averages than this say nothing of their spread


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """One curve as measured and as the model has it, with the model's 5 % to 95 % band.

    All arrays have shape (n,); the band is over the worlds, draws of what is unknown.
    """

    x: "NDArray[np.float64]"
    measured_values: "NDArray[np.float64]"
    model_values: "NDArray[np.float64]"
    low_values: "NDArray[np.float64]"
    high_values: "NDArray[np.float64]"


def model_rates_bps(link: LinkModel, direction: str, seed: int) -> "NDArray[np.float64]":
    """Futures of ten minutes in steps of 1 s, shape (worlds, draws, t). [bit/s at the IP layer]"""
    paths = link.paths(
        direction,
        horizon_s=_LONGEST_S,
        n_draws=N_WORLDS * _DRAWS_PER_WORLD,
        rng=np.random.default_rng(seed),
        n_worlds=N_WORLDS,
    )
    order = np.argsort(paths.world, kind="stable")
    return paths.rates_bps[order].reshape(N_WORLDS, _DRAWS_PER_WORLD, -1)


def quantile_curve(runs: MeasuredRuns, model_bps: "NDArray[np.float64]") -> Comparison:
    """Quantiles of the 1 s rates at the levels `x`. [bit/s]"""
    n = runs.rates_bps.size
    levels = np.unique(np.clip(_LEVELS, 0.5 / n, 1 - 0.5 / n))
    worlds = np.quantile(model_bps.reshape(N_WORLDS, -1), levels, axis=1).T
    return _compare(levels, np.quantile(runs.rates_bps, levels), worlds)


def autocorrelation_curve(
    runs: MeasuredRuns, model_bps: "NDArray[np.float64]"
) -> Comparison | None:
    """Correlation of the 1 s rates with those `x` seconds later; None if no run is long enough.

    Deviations are from the mean of all seconds, in the record and in each world, so that what
    lasts longer than a run counts as dependence in both.
    """
    # beyond half a run, few pairs are left and all of them join its ends
    longest = int(min(_MAX_LAG_S, runs.lengths_s.max() // 2))
    if longest < 2 or np.ptp(runs.rates_bps) == 0:
        return None
    lags = np.arange(1, longest + 1)
    parts = np.split(runs.rates_bps, runs.first[1:-1])
    worlds = np.array([_autocorrelation(list(world), lags) for world in model_bps])
    return _compare(lags.astype(float), _autocorrelation(parts, lags), worlds)


def _autocorrelation(
    parts: "list[NDArray[np.float64]]", lags: "NDArray[np.int64]"
) -> "NDArray[np.float64]":
    everything = np.concatenate(parts)
    mean, variance = everything.mean(), everything.var()
    products = np.zeros(lags.size)
    n_pairs = np.zeros(lags.size)
    for part in parts:
        away = part - mean
        for i, lag in enumerate(lags[lags < away.size]):
            products[i] += away[:-lag] @ away[lag:]
            n_pairs[i] += away.size - lag
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(variance > 0, products / n_pairs / variance, 0.0)


def spread_curve(runs: MeasuredRuns, model_bps: "NDArray[np.float64]") -> Comparison | None:
    """Standard deviation over mean of averages of `x` seconds; None if there are too few."""
    parts = np.split(runs.rates_bps, runs.first[1:-1])
    n_windows = np.array([sum(part.size // s for part in parts) for s in AVERAGES_S])
    lengths = np.array(AVERAGES_S)[n_windows >= _LEAST_WINDOWS]
    if lengths.size < 2 or runs.rates_bps.mean() == 0:
        return None
    worlds = np.array([_spread_of_averages(list(world), lengths) for world in model_bps])
    return _compare(lengths.astype(float), _spread_of_averages(parts, lengths), worlds)


def _spread_of_averages(
    parts: "list[NDArray[np.float64]]", lengths: "NDArray[np.int64]"
) -> "NDArray[np.float64]":
    spreads = np.empty(lengths.size)
    for i, length in enumerate(lengths):
        whole = [part[: part.size // length * length].reshape(-1, length) for part in parts]
        averages = np.concatenate([windows.mean(axis=1) for windows in whole if windows.size])
        spreads[i] = averages.std() / averages.mean() if averages.mean() > 0 else 0.0
    return spreads


def _compare(
    x: "NDArray[np.float64]",
    measured_values: "NDArray[np.float64]",
    worlds: "NDArray[np.float64]",
) -> Comparison:
    low, middle, high = np.quantile(worlds, [0.05, 0.5, 0.95], axis=0)
    return Comparison(
        x=x, measured_values=measured_values, model_values=middle, low_values=low, high_values=high
    )
