"""Forecasts of two links compared over their worlds: what either link may be like.

A world weighs twenty blocks of the record anew (the Bayesian bootstrap of blocks that draws the
link's futures) and moves the level by what a record of that length leaves open, so the scatter
of a percentile over the worlds holds the chance of the record and its drift. The worlds of two
links are independent, though one seed draws both: every world of one meets every world of the
other.
"""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.differences import Difference, difference_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.draws import Forecast

_LEAST_KEPT_FRAC = 0.1  # of the variance: chance may eat all of the scatter by chance


def world_quantiles(forecast: "Forecast", level: float) -> "NDArray[np.float64]":
    """The `level` quantile in each world, shape (worlds,), freed of the chance of few draws.

    Notes
    -----
    As `Forecast.quantile_interval`: the scatter on a logarithmic scale is shrunk by what the
    halves of each world tell of chance, and centred on the quantile of all draws, so that values
    of different forecasts with as many worlds can be set beside each other, world by world. Where
    a world says "never", or 0, the quantiles stay as they are.
    """
    order = np.argsort(forecast.world, kind="stable")
    _, firsts = np.unique(forecast.world[order], return_index=True)
    groups = np.split(forecast.draws[order], firsts[1:])
    found = np.array([_three(group, level) for group in groups])
    centre = float(forecast.quantile(level))
    if len(groups) < 2 or not (np.isfinite(found) & (found > 0)).all():
        return found[:, 0]
    scale = np.log(found)
    # half of a world has twice the variance of the whole, so their difference has four times
    noise = float(np.mean((scale[:, 1] - scale[:, 2]) ** 2)) / 4
    total = float(np.var(scale[:, 0], ddof=1))
    kept = np.sqrt(max(_LEAST_KEPT_FRAC, 1 - noise / total)) if total > 0 else 0.0
    apart = scale[:, 0] - scale[:, 0].mean()
    world_values: NDArray[np.float64] = centre * np.exp(kept * apart)
    return world_values


def _three(draws: "NDArray[np.float64]", level: float) -> list[float]:
    """The quantile of a world and of its halves."""
    parts = (draws, draws[::2], draws[1::2] if draws.size > 1 else draws)
    return [float(np.quantile(part, level, method="inverted_cdf")) for part in parts]


def forecast_difference(
    what: str, first: "Forecast", second: "Forecast", level: float
) -> Difference:
    """The `level` quantile of `second` less that of `first`, over all pairs of worlds."""
    ones, others = world_quantiles(first, level), world_quantiles(second, level)
    return difference_of(
        what,
        first.unit,
        (float(first.quantile(level)), float(second.quantile(level))),
        np.repeat(ones, others.size),
        np.tile(others, ones.size),
    )
