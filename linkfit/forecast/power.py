"""Hours a day that battery and panel keep the server up."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.site.hours import Power

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOURS_PER_DAY = 24.0
POWER_START_H = 8.0  # assumption: what has run dry at night starts again in the morning sun
SUN_DAY_SIGMA = 0.5  # day-to-day spread of sun hours (log scale): common practice, a guess


def up_hours_per_day(power: Power) -> float:
    """Hours that a battery full in the morning and one day's sun last, 24 at most. [h]

    Notes
    -----
    min(24, (battery x usable + sun hours x panel x yield) / load), arithmetic of the trade.
    """
    return min(HOURS_PER_DAY, (_stored_wh(power) + _sun_wh(power)) / power.load_w)


def sustained_hours_per_day(power: Power) -> float:
    """Hours a day in the long run, when the battery's first charge is spent, 24 at most. [h]

    Notes
    -----
    A battery moves energy from noon to night but brings none: with a panel the long run is what
    the sun gives. Without one the battery is taken to be charged elsewhere once a day.
    """
    if not power.panel_w or not power.sun_hours:
        return up_hours_per_day(power)
    return min(HOURS_PER_DAY, _sun_wh(power) / power.load_w)


def hours_by_day(
    power: Power, n_days: int, n_draws: int, rng: np.random.Generator
) -> "NDArray[np.float64]":
    """Hours up on each day from a full battery on, with sunny and dull days; shape (d, t). [h]

    Notes
    -----
    Sun hours vary from day to day, independent and lognormal around their mean; what a day does
    not use stays in the battery up to its usable part.
    """
    count("n_days", n_days)
    hours = np.empty((n_draws, n_days))
    stored = np.full(n_draws, _stored_wh(power))
    day_wh = HOURS_PER_DAY * power.load_w
    if not power.panel_w or not power.sun_hours:
        hours[:] = up_hours_per_day(power)
        return hours
    factor = np.exp(SUN_DAY_SIGMA * rng.standard_normal((n_draws, n_days)) - SUN_DAY_SIGMA**2 / 2)
    for day in range(n_days):
        there = stored + _sun_wh(power) * factor[:, day]
        used = np.minimum(there, day_wh)
        stored = np.minimum(there - used, _stored_wh(power))
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


def _stored_wh(power: Power) -> float:
    """Usable energy of a full battery. [Wh]"""
    return power.battery_wh * power.usable_frac


def _sun_wh(power: Power) -> float:
    """What the panel brings on a mean day. [Wh]"""
    return power.sun_hours * power.panel_w * power.yield_frac
