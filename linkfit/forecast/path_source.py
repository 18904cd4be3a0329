"""What a backlog needs of a link: its futures over weeks, from a local hour on."""

import zlib
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np

from linkfit.link.paths import CapacityPaths
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

CYCLE_DAYS = 30
N_DRAWS = 200  # the same for every answer, so that they agree


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

    Where a daily pattern was found they begin at the local hour `start_h` and follow it.
    """
    return {
        direction: link.paths(
            direction,
            horizon_s=CYCLE_DAYS * SECONDS_PER_DAY,
            n_draws=n_draws,
            rng=named_rng(seed, "paths", direction),
            n_worlds=n_worlds,
            step_s=SECONDS_PER_HOUR,
            hour=start_h if has_pattern(link, (direction,)) else None,
        )
        for direction in directions
    }


def has_pattern(link: PathSource, directions: Sequence[str]) -> bool:
    """Was a daily pattern found in any of `directions`?"""
    return any(bool(link.direction(way).daily.found) for way in directions)
