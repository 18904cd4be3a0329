"""Hours a day that battery and panel keep the server up."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.site.hours import Power

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOURS_PER_DAY = 24.0
POWER_START_H = 8.0  # assumption: what has run dry at night starts again in the morning sun
SHADE_YIELD_FRAC = 0.17  # of a panel's rated power in shade: common practice
SUN_DAY_SIGMA = 0.5  # day-to-day spread of sun hours (log scale): common practice, a guess


def up_hours_per_day(power: Power, month: int | None = None) -> float:
    """Hours that a battery full in the morning and one day's sun last, 24 at most. [h]

    Notes
    -----
    min(24, (battery x usable + sun hours x panel x yield) / load), arithmetic of the trade.
    """
    return min(HOURS_PER_DAY, (stored_wh(power) + sun_wh(power, month)) / power.load_w)


def sustained_hours_per_day(power: Power, month: int | None = None) -> float:
    """Hours a day in the long run, when the battery's first charge is spent, 24 at most. [h]

    Notes
    -----
    A battery moves energy from noon to night but brings none: with a panel the long run is what
    the sun gives. Without one the battery is taken to be charged elsewhere once a day.
    """
    if not has_sun(power):
        return up_hours_per_day(power)
    return min(HOURS_PER_DAY, sun_wh(power, month) / power.load_w)


def hours_by_day(
    power: Power,
    n_days: int,
    n_draws: int,
    rng: np.random.Generator,
    *,
    start: date | None = None,
    month: int | None = None,
    levels: "NDArray[np.float64] | float" = 1.0,
) -> "NDArray[np.float64]":
    """Hours up on each day from a full battery on, with sunny and dull days; shape (d, t). [h]

    Parameters
    ----------
    start : date, optional
        First day: the sun is that of the months that follow. Without it, of the mean year.
    month : int, optional
        Every day has the sun of this month, 1 to 12.
    levels : array, shape (d,), optional
        Sun of the whole time, and yield of the panel, over what is stated. [1]

    Notes
    -----
    Sun hours vary from day to day, independent and lognormal around their mean; what a day does
    not use stays in the battery up to its usable part.
    """
    count("n_days", n_days)
    months = [month if start is None else (start + timedelta(days=day)).month
              for day in range(n_days)]  # fmt: skip
    factors = sun_factors(n_days, n_draws, rng) * np.reshape(levels, (-1, 1))
    return hours_under(power, factors, months)


def sun_factors(n_days: int, n_draws: int, rng: np.random.Generator) -> "NDArray[np.float64]":
    """Sun of each day over the mean of its month, shape (d, t); 1 in the mean."""
    normal = rng.standard_normal((n_draws, n_days))
    return np.exp(SUN_DAY_SIGMA * normal - SUN_DAY_SIGMA**2 / 2)


def hours_under(
    power: Power, sun_factors: "NDArray[np.float64]", months: Sequence[int | None]
) -> "NDArray[np.float64]":
    """Hours up on each day from a full battery on, shape (d, t). [h]

    Parameters
    ----------
    sun_factors : array, shape (d, t)
        Sun of each day over the mean of its month. [1]
    months : sequence of int or None, length t
        Month of each day, 1 to 12; None: the mean day of the year.
    """
    n_draws, n_days = sun_factors.shape
    hours = np.empty((n_draws, n_days))
    if not has_sun(power):
        hours[:] = up_hours_per_day(power)
        return hours
    stored = np.full(n_draws, stored_wh(power))
    day_wh = HOURS_PER_DAY * power.load_w
    for day, month in enumerate(months):
        there = stored + sun_wh(power, month) * sun_factors[:, day]
        used = np.minimum(there, day_wh)
        stored = np.minimum(there - used, stored_wh(power))
        hours[:, day] = used / power.load_w
    return hours


def powered_hours(
    lasts_h: "NDArray[np.float64]", clock_h: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """Hours with power until each hour of `clock_h`, but for a constant; shape (d, n). [h]

    Parameters
    ----------
    lasts_h : array, shape (d, t)
        Hours that each day's energy lasts, from `POWER_START_H` on. [h]
    clock_h : array, shape (n,)
        Hours since midnight of day 0, rising, at most t days. [h]

    Notes
    -----
    A power day runs from one morning to the next; the night before the first has power.
    """
    n_draws, n_days = lasts_h.shape
    lasts = np.concatenate([np.full((n_draws, 1), HOURS_PER_DAY), lasts_h], axis=1)
    before = np.concatenate([np.zeros((n_draws, 1)), np.cumsum(lasts, axis=1)], axis=1)
    day, hour = np.divmod(clock_h - POWER_START_H + HOURS_PER_DAY, HOURS_PER_DAY)
    index = np.minimum(day.astype(np.int64), n_days)
    return np.asarray(before[:, index] + np.minimum(hour, lasts[:, index]))


def has_sun(power: Power) -> bool:
    """Does a panel bring anything in any month? Without, the battery is charged elsewhere."""
    return bool(power.panel_w and (power.sun_hours or any(power.sun_hours_by_month)))


def stored_wh(power: Power) -> float:
    """What a full battery brings to the load. [Wh]"""
    return power.battery_wh * power.usable_frac * power.output_frac


def sun_wh(power: Power, month: int | None = None) -> float:
    """What the panel brings to the load on a mean day of `month`, or of the year. [Wh]"""
    return power.sun_hours_in(month) * power.panel_w * power.yield_frac * power.output_frac
