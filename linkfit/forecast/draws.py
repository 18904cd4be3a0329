"""Forecast: draws with their unit, and how sure their quantiles are."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.forecast_table import ShownForecast

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

INTERVAL_LEVELS = (0.05, 0.95)  # the interval on a quantile that every screen and file shows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast(ShownForecast):
    """What may happen, as equally likely draws.

    Parameters
    ----------
    draws : array, shape (d,)
        One value a possible future; inf means that it never happens.
    unit : str
        Unit of the draws: "s", "bytes", "days", "bit/s", "users".
    world : array of int, shape (d,)
        Draws with one number share the unknown parameters of the link.
    parts : mapping of str to float
        What the median is made of, in `unit` (round trips, capacity, ...).
    width : mapping of str to float
        What the spread is made of, as shares that add up to 1; empty where nobody asked.
    """

    draws: "NDArray[np.float64]"
    unit: str
    world: "NDArray[np.int32]"
    parts: Mapping[str, float] = field(default_factory=dict)
    width: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        draws = np.ascontiguousarray(self.draws, dtype=np.float64)
        world = np.ascontiguousarray(self.world, dtype=np.int32)
        if draws.ndim != 1 or draws.size == 0 or np.isnan(draws).any():
            raise InputError(f"draws: expected numbers of shape (d,), got shape {draws.shape}")
        if world.shape != draws.shape:
            raise InputError(f"world: expected shape {draws.shape}, got {world.shape}")
        for name, array in (("draws", draws), ("world", world)):
            array = array.view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        object.__setattr__(self, "parts", MappingProxyType(dict(self.parts)))
        object.__setattr__(self, "width", MappingProxyType(dict(self.width)))

    def quantile(self, levels: "ArrayLike") -> "NDArray[np.float64]":
        """Quantiles of all draws together, shape of `levels`; in `unit`.

        The smallest draw x with F(x) >= level (RFC 2330 section 11.3), so that a level never
        mixes a finite draw with "never".
        """
        wanted = np.asarray(levels)
        if not ((wanted >= 0) & (wanted <= 1)).all():
            raise InputError(f"levels: expected numbers in [0, 1], got {levels!r}")
        return _quantile(self.draws, wanted)

    def quantile_interval(self, level: float) -> tuple[float, float]:
        """5 % and 95 % points of the `level` quantile over the worlds; in `unit`.

        How uncertain the quantile is because the link was measured little.

        Notes
        -----
        The quantiles of single worlds scatter for two reasons: the worlds differ, and each has
        few draws. The second is measured by halving each world, and the scatter is shrunk
        towards its middle by what it explains (random effects by the method of moments), so
        that more draws do not change what is shown. The interval always holds the quantile of
        all draws. One world returns that twice. On a logarithmic scale where all are above 0.
        """
        centre = float(self.quantile(level))
        order = np.argsort(self.world, kind="stable")
        worlds, firsts = np.unique(self.world[order], return_index=True)
        if worlds.size == 1:
            return centre, centre
        groups = np.split(self.draws[order], firsts[1:])
        parts = [(group, group[::2], group[1::2]) for group in groups if group.size > 1]
        at = np.asarray(level)
        found = np.array([[_quantile(part, at) for part in three] for three in parts])
        if not parts or not np.isfinite(found).all() or not np.isfinite(centre):
            values = [_quantile(group, at) for group in groups]
            low, high = np.quantile(values, INTERVAL_LEVELS, method="inverted_cdf")
            return min(float(low), centre), max(float(high), centre)
        low, high = _over_worlds(found, centre)
        return low, high

    def prob_within(self, limit: float) -> float:
        """Share of draws of at most `limit`. [probability]"""
        return float(np.mean(self.draws <= limit))


def _quantile(draws: "NDArray[np.float64]", levels: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """The smallest draw x with F(x) >= level, as `numpy.quantile` has it by "inverted_cdf"."""
    # numpy's own takes five times as long for the few draws of a world
    last = np.ceil(draws.size * levels - 1.0).astype(np.int64)
    return np.sort(draws)[np.maximum(last, 0)]


def _over_worlds(values: "NDArray[np.float64]", centre: float) -> tuple[float, float]:
    """Interval from quantiles of worlds and of their halves, shape (worlds, 3)."""
    is_log = bool((values > 0).all()) and centre > 0
    scale = np.log(values) if is_log else values
    middle = np.log(centre) if is_log else centre
    # half of a world has twice the variance of the whole, so their difference has four times
    noise = float(np.mean((scale[:, 1] - scale[:, 2]) ** 2)) / 4
    total = float(np.var(scale[:, 0], ddof=1)) if scale.shape[0] > 1 else 0.0
    # chance may eat all of the scatter by chance: a tenth of its variance stays in doubt
    kept = np.sqrt(max(0.1, 1 - noise / total)) if total > 0 else 0.0
    mean = scale[:, 0].mean()
    apart = (scale[:, 0] - mean) * kept
    # a high quantile of few draws falls short, by as much again when the draws are halved
    unbiased = 2 * mean - scale[:, 1:].mean()
    low, high = unbiased + np.quantile(apart, INTERVAL_LEVELS, method="inverted_cdf")
    low, high = min(low, middle), max(high, middle)
    return (float(np.exp(low)), float(np.exp(high))) if is_log else (float(low), float(high))
