"""Forecast: draws with their unit, and how sure their quantiles are."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

INTERVAL_LEVELS = (0.05, 0.95)  # the interval on a quantile that every screen and file shows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
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
    """

    draws: "NDArray[np.float64]"
    unit: str
    world: "NDArray[np.int32]"
    parts: Mapping[str, float] = field(default_factory=dict)

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

    def quantile(self, levels: "ArrayLike") -> "NDArray[np.float64]":
        """Quantiles of all draws together, shape of `levels`; in `unit`.

        The smallest draw x with F(x) >= level (RFC 2330 section 11.3), so that a level never
        mixes a finite draw with "never".
        """
        return np.quantile(self.draws, np.asarray(levels), method="inverted_cdf")

    def quantile_interval(self, level: float) -> tuple[float, float]:
        """5 % and 95 % points of the `level` quantile over the worlds; in `unit`.

        How uncertain the quantile is because the link was measured little.

        Notes
        -----
        Computed over worlds of equal size by one sort; a forecast with one world has no such
        uncertainty and returns the quantile twice.
        """
        order = np.argsort(self.world, kind="stable")
        worlds, starts = np.unique(self.world[order], return_index=True)
        if worlds.size == 1:
            value = float(self.quantile(level))
            return value, value
        groups = np.split(self.draws[order], starts[1:])
        values = [np.quantile(group, level, method="inverted_cdf") for group in groups]
        low, high = np.quantile(values, INTERVAL_LEVELS, method="inverted_cdf")
        return float(low), float(high)

    def prob_within(self, limit: float) -> float:
        """Share of draws of at most `limit`. [probability]"""
        return float(np.mean(self.draws <= limit))
