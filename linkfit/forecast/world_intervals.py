"""Intervals over worlds of any statistic of the rows of CapacityPaths: a share, a rate limit."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.draws import INTERVAL_LEVELS

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LEAST_KEPT_FRAC = 0.1  # of the variance: chance may eat all of the scatter by chance


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number with its 5 % and 95 % points over the worlds; the unit is that of the number."""

    value: float
    low: float
    high: float


def over_worlds(
    world: "NDArray[np.int32]",
    statistic: "Callable[[NDArray[np.int64]], float]",
    *,
    shrink: bool = True,
) -> Estimate:
    """`statistic` of all rows, and its interval over the worlds.

    Parameters
    ----------
    world : array of int, shape (d,)
        World of each row.
    statistic : callable
        Takes row numbers, shape (m,), and returns a number.
    shrink : bool
        Take off what chance explains (see Notes); needs a statistic that is finite and nearly
        linear in the rows, such as a share.

    Notes
    -----
    As in `Forecast.quantile_interval`: with `shrink` the scatter between worlds is shrunk by
    what the halves of each world tell of chance (random effects by the method of moments), so
    that more rows narrow nothing but the chance. The interval always holds the value of all.
    """
    every = np.arange(world.size)
    centre = statistic(every)
    order = np.argsort(world, kind="stable")
    _, firsts = np.unique(world[order], return_index=True)
    groups = [group for group in np.split(order, firsts[1:]) if group.size > 1]
    if len(groups) < 2:
        return Estimate(value=centre, low=centre, high=centre)
    if not shrink:
        values = [statistic(group) for group in groups]
        low, high = np.quantile(values, INTERVAL_LEVELS, method="inverted_cdf")
        return Estimate(value=centre, low=min(float(low), centre), high=max(float(high), centre))
    found = np.array([[statistic(g), statistic(g[::2]), statistic(g[1::2])] for g in groups])
    # half of a world has twice the variance of the whole, so their difference has four times
    noise = float(np.mean((found[:, 1] - found[:, 2]) ** 2)) / 4
    total = float(np.var(found[:, 0], ddof=1))
    kept = np.sqrt(max(_LEAST_KEPT_FRAC, 1 - noise / total)) if total > 0 else 0.0
    mean = found[:, 0].mean()
    apart = (found[:, 0] - mean) * kept
    low, high = mean + np.quantile(apart, INTERVAL_LEVELS, method="inverted_cdf")
    low, high = max(low, found[:, 0].min()), min(high, found[:, 0].max())
    return Estimate(value=centre, low=float(min(low, centre)), high=float(max(high, centre)))
