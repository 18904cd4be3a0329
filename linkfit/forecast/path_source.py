"""What a backlog needs of a link: its futures over weeks, from a local hour on."""

import zlib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from linkfit.link.paths import CapacityPaths
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

CYCLE_DAYS = 30
N_DRAWS = 200  # the same for every answer, so that they agree

_DAY = 24  # hours
_HORIZON_S = CYCLE_DAYS * SECONDS_PER_DAY


class PathSource(Protocol):
    """A LinkModel, or anything with its futures."""

    def direction(self, direction: str) -> Any:
        """The model of one direction; its `daily.found` says whether the hour matters."""
        ...

    def paths(
        self,
        direction: str,
        *,
        horizon_s: float,
        n_draws: int,
        rng: np.random.Generator,
        n_worlds: int = ...,
        step_s: float = ...,
        hour: float | None = ...,
    ) -> CapacityPaths:
        """Futures of one direction."""
        ...


def named_rng(seed: int, *names: str) -> np.random.Generator:
    """An own generator for each purpose, so that a change of one leaves the others alone."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def backlog_paths(
    link: PathSource,
    directions: Sequence[str],
    *,
    seed: int = 0,
    n_draws: int = N_DRAWS,
    n_worlds: int = 20,
    start_h: float = 0.0,
) -> Mapping[str, CapacityPaths]:
    """Futures of `directions` over one cycle in steps of an hour, for `forecast_backlog`.

    Where a daily pattern was found they begin at the local hour `start_h` and follow it; what is
    unknown of an hour's factor differs from world to world, neighbouring hours alike.
    """
    found = {}
    for direction in directions:
        options: dict[str, Any] = {
            "n_draws": n_draws, "rng": named_rng(seed, "paths", direction),
            "n_worlds": n_worlds, "step_s": SECONDS_PER_HOUR,
        }  # fmt: skip
        if has_pattern(link, (direction,)):
            hours_rng = named_rng(seed, "hours", direction)
            found[direction] = _patterned(link, direction, start_h, hours_rng, options)
        else:
            found[direction] = link.paths(direction, horizon_s=_HORIZON_S, hour=None, **options)
    return found


def _patterned(
    link: PathSource,
    direction: str,
    start_h: float,
    rng: np.random.Generator,
    options: Mapping[str, Any],
) -> CapacityPaths:
    """Futures from `start_h` on with the daily pattern, and with what is unknown of it."""
    daily = link.direction(direction).daily
    # the level of a future is as unknown as its first hour: begin in the best known one
    lead = min(range(_DAY), key=lambda hours: daily.sigma_at((start_h - hours) % _DAY))
    early = link.paths(
        direction,
        horizon_s=_HORIZON_S + lead * SECONDS_PER_HOUR,
        hour=(start_h - lead) % _DAY,
        **options,
    )
    rates = early.rates_bps[:, lead:]
    clock_h = np.asarray((start_h + 0.5 + np.arange(_DAY)) % _DAY, dtype=np.float64)
    unknown = _unknown_factors(daily, clock_h, rng, early.world)
    every = np.tile(unknown, rates.shape[1] // _DAY + 1)[:, : rates.shape[1]]
    return CapacityPaths.from_rates(rates * every, early.step_s, early.world)


def _unknown_factors(
    daily: Any, clock_h: "NDArray[np.float64]", rng: np.random.Generator, world: "NDArray[np.int32]"
) -> "NDArray[np.float64]":
    """What each world's hours may be for the pattern's, shape (d, hours); mean 1."""
    sigma = np.array([daily.sigma_at(float(hour)) for hour in clock_h])
    angle = 2 * np.pi * clock_h / _DAY
    waves = np.stack([np.cos(angle), np.sin(angle)])  # unit variance at every hour
    z = rng.standard_normal((int(world.max()) + 1, 2)) @ waves
    return np.asarray(np.exp(sigma * z - sigma**2 / 2)[world], dtype=np.float64)


def has_pattern(link: PathSource, directions: Sequence[str]) -> bool:
    """Was a daily pattern found in any of `directions`?"""
    return any(bool(link.direction(way).daily.found) for way in directions)
