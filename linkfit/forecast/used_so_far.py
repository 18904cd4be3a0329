"""What is left of a cycle once some of it has been measured: the level of use, updated.

A stated habit is a guess; what the cycle has used so far tells how far off it was.
"""

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.cycle_calendar import CycleCalendar
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast, LedgerEntry
from linkfit.forecast.plan_use import DAY_COV, against_plan
from linkfit.site.plan import Plan
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY, format_size

if TYPE_CHECKING:
    from numpy.typing import NDArray

# How far all guesses of one person may be off together: a factor with heavy tails (Student's t
# of 3 degrees of freedom on a logarithmic scale), so that measured use can overrule them.
LEVEL_SIGMA = 0.3
_LEVEL_FREEDOM = 3.0
_LEVELS = np.exp(np.linspace(math.log(1 / 40), math.log(40), 149))
_MOST_AT_AN_END = 0.01  # of the weight: beyond it the levels do not reach what was measured
_RATE_DOUBT = 2.0  # a mean rate from few measurements may be so far too low
_YEARS = range(1990, 2201)
_LEAST_DAYS = 1 / 24  # of a cycle that has just begun, or is nearly over


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclePlace:
    """A moment in a billing cycle: its first day, its length, and how much of it is over."""

    start: datetime
    cycle_days: float
    elapsed_days: float

    @classmethod
    def at(cls, moment: datetime, cycle_day: int) -> "CyclePlace":
        """The cycle that holds `moment`, a local time; cycles begin at midnight.

        Raises
        ------
        InputError
            If `moment` lies outside the years in which plans are sold.
        """
        if moment.year not in _YEARS:
            raise InputError(
                f"--on: expected a year from {_YEARS[0]} to {_YEARS[-1]}, got {moment.year}"
            )
        calendar = CycleCalendar(start=moment.date(), cycle_day=cycle_day)
        begin, end = calendar.begin(0), calendar.begin(1)
        start = datetime(begin.year, begin.month, begin.day)
        elapsed = (moment.replace(tzinfo=None) - start).total_seconds() / SECONDS_PER_DAY
        return cls(start=start, cycle_days=float((end - begin).days), elapsed_days=elapsed)

    def moment(self, days: float) -> datetime:
        """The local time `days` into the cycle."""
        return self.start + timedelta(days=days)


def check_used(used_bytes: float, plan: Plan, place: CyclePlace, most_bps: float | None) -> None:
    """Refuse a use that cannot be.

    Parameters
    ----------
    most_bps : float or None
        Mean rate of the link in the directions that the plan counts, together. [bit/s]

    Raises
    ------
    InputError
        If more was used than a plan that stops at its cap lets through, or than the link carries.
    """
    stops = plan.throttle_bps is None and plan.price_per_gb is None
    most = (plan.cap_bytes or math.inf) + plan.carry_over_bytes
    if stops and used_bytes > most:
        raise InputError(
            f"--used: expected at most the {format_size(most)} after which the plan stops, got "
            f"{format_size(used_bytes)}; say in after_cap what happens after the cap"
        )
    if most_bps is None:
        return
    carries = _RATE_DOUBT * most_bps * place.elapsed_days * SECONDS_PER_DAY / BITS_PER_BYTE
    if used_bytes > carries:
        raise InputError(
            f"--used: expected at most {format_size(carries)}, twice what the link carries in "
            f"{place.elapsed_days:.1f} days, got {format_size(used_bytes)}; give the figure of "
            "this cycle alone"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """Draws that agree with measured use: which ones, and how far off the guesses were.

    Parameters
    ----------
    rows : array of int, shape (d,)
        Draws of the forecast from stated habits.
    factor : array, shape (d,)
        What all uses of such a draw are multiplied by. [1]
    """

    rows: "NDArray[np.int64]"
    factor: "NDArray[np.float64]"

    def applied(self, use: Forecast) -> Forecast:
        """`use` at this level, draw by draw."""
        draws = use.draws[self.rows] * self.factor
        return Forecast(draws=draws, unit=use.unit, world=use.world[self.rows])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoFar:
    """The part of a cycle that is over: where it stands, what was used, and the level of use."""

    place: CyclePlace
    used_bytes: float
    level: Level

    @property
    def left_days(self) -> float:
        """What is left of the cycle. [days]"""
        return self.place.cycle_days - _within(self.place)

    def rest(self, use: Forecast, rng: np.random.Generator) -> Forecast:
        """What is left to come where a whole cycle from stated habits would use `use`."""
        level = self.level.applied(use)
        shape = self.left_days / DAY_COV**2
        part = rng.standard_gamma(shape, level.draws.size) / shape * self.left_days
        draws = level.draws * part / self.place.cycle_days
        return Forecast(draws=draws, unit=use.unit, world=level.world)


def measured_level(data: DataForecast, *, used_bytes: float, place: CyclePlace, seed: int) -> Level:
    """The level of use, given that `used_bytes` of a cycle are spent at `place`.

    Parameters
    ----------
    data : DataForecast
        As forecast from stated habits, for a cycle of `place.cycle_days`.

    Raises
    ------
    InputError
        If no level in reach comes near it.

    Notes
    -----
    A draw of the total T, times a level from a wide prior, is weighted by how likely it makes
    what was measured: days are gamma distributed, so the share used in t of n days has the beta
    law with parameters t / c^2 and (n - t) / c^2, c the coefficient of variation of a day. As
    many draws are then taken with these weights, at even steps of their sum.
    """
    elapsed = _within(place)
    total = data.use.draws[:, None] * _LEVELS
    weight = _likelihood(total, max(used_bytes, 1.0), elapsed, place.cycle_days) * _level_prior()
    at_an_end = weight[:, 0].sum() + weight[:, -1].sum()
    if not weight.sum() > 0 or at_an_end > _MOST_AT_AN_END * weight.sum():
        raise InputError(
            f"--used: expected a use within a factor of {_LEVELS[-1]:.0f} of the "
            f"{format_size(float(data.use.quantile(0.5)))} that the site file foresees, got "
            f"{format_size(used_bytes)} after {elapsed:.1f} days; correct the site file"
        )
    rng = np.random.default_rng([seed, 0x05ED])
    chosen = _resampled(weight.ravel(), data.use.draws.size, rng)
    rows, levels = np.divmod(chosen, _LEVELS.size)
    return Level(rows=rows, factor=_LEVELS[levels])


def with_used(
    data: DataForecast, plan: Plan, so_far: SoFar, *, up_frac: float, seed: int
) -> DataForecast:
    """The same cycle at the level that was measured; every draw uses at least what is used."""
    level, place = so_far.level, so_far.place
    ledger: tuple[LedgerEntry, ...] = tuple(
        replace(entry, use=level.applied(entry.use)) for entry in data.ledger
    )
    return against_plan(
        plan, ledger, level.applied(data.use),
        cycle_days=place.cycle_days, up_frac=up_frac,
        rng=np.random.default_rng([seed, 0xDA45]),
        used_bytes=so_far.used_bytes, elapsed_days=_within(place),
    )  # fmt: skip


def _within(place: CyclePlace) -> float:
    """Days of the cycle that are over; neither none of it nor all. [days]"""
    return min(max(place.elapsed_days, _LEAST_DAYS), place.cycle_days - _LEAST_DAYS)


def _likelihood(
    total_bytes: "NDArray[np.float64]", used_bytes: float, elapsed_days: float, cycle_days: float
) -> "NDArray[np.float64]":
    """Density of `used_bytes` where a cycle uses `total_bytes`, up to one factor for all. [1]"""
    a, b = elapsed_days / DAY_COV**2, (cycle_days - elapsed_days) / DAY_COV**2
    share = np.clip(used_bytes / np.maximum(total_bytes, 1e-9), 0.0, 1 - 1e-12)
    with np.errstate(divide="ignore"):
        log = (a - 1) * np.log(share) + (b - 1) * np.log1p(-share) - np.log(total_bytes)
    log = np.where(total_bytes > used_bytes, log, -np.inf)
    top = log.max()
    return np.exp(log - top) if np.isfinite(top) else np.zeros_like(log)


def _level_prior() -> "NDArray[np.float64]":
    """Weights of `_LEVELS`, evenly spaced on a logarithmic scale."""
    z = np.log(_LEVELS) / LEVEL_SIGMA
    return (1 + z**2 / _LEVEL_FREEDOM) ** (-(_LEVEL_FREEDOM + 1) / 2)


def _resampled(
    weight: "NDArray[np.float64]", n: int, rng: np.random.Generator
) -> "NDArray[np.int64]":
    """`n` indices taken at even steps of the summed weight (systematic resampling)."""
    at = (rng.random() + np.arange(n)) / n * weight.sum()
    return np.searchsorted(np.cumsum(weight), at).clip(0, weight.size - 1)
