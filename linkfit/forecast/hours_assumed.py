"""Which sun the hours of power rest on: the months of a date, or the mean of the year."""

import math
from dataclasses import replace
from datetime import date

from linkfit.forecast.energy import SUN_YEAR_SIGMA, YIELD_SIGMA
from linkfit.forecast.hours import open_frac, site_intervals
from linkfit.forecast.power import HOURS_PER_DAY, has_sun
from linkfit.site.hours import MONTHS, Hours
from linkfit.site.sun import MONTH_NAMES

_ALWAYS_FRAC = 0.999
_Z_90 = 1.645  # of a normal law: nine in ten lie within so many sigmas


def hours_assumed(hours: Hours, first: date | None = None, n_days: int = 30) -> str:
    """Hours up a day by battery and panel, and of which days; "" where no sun decides them.

    Parameters
    ----------
    first : date, optional
        First of `n_days` that are asked about; without it the mean of the year holds.

    Notes
    -----
    The interval is what years and panels differ by, `SUN_YEAR_SIGMA` and `YIELD_SIGMA`.
    """
    if hours.power is None or not has_sun(hours.power):
        return ""
    if first is not None and hours.power.sun_hours_by_month:
        return f"hours of power: {_said(hours.on(first, n_days))}, the sun of {n_days} days from " \
               f"{first.isoformat()} on"  # fmt: skip
    text = f"hours of power: {_said(hours)}, the mean sun of the year"
    if not hours.power.sun_hours_by_month:
        return f"{text}; winter is below it: give sun_hours by month"
    by_month = {month: _up_h(hours.on(date(2001, month, 1), 1)) for month in range(1, MONTHS + 1)}
    least, most = min(by_month, key=by_month.__getitem__), max(by_month, key=by_month.__getitem__)
    return (
        f"{text}, since no date is given; single months from {by_month[least]:.1f} h "
        f"({MONTH_NAMES[least - 1]}) to {by_month[most]:.1f} h ({MONTH_NAMES[most - 1]})"
    )


def hours_up(hours: Hours) -> str:
    """What part of a day there is something to judge; "" where the server is always up."""
    if open_frac(site_intervals(hours)) > _ALWAYS_FRAC:
        return ""
    by_sun = hours.power is not None and has_sun(hours.power)
    said = _said(hours) if by_sun else f"{_up_h(hours):.1f} h a day"
    return f"the server is up for {said}: verdicts hold while it is; at other times nothing answers"


def _said(hours: Hours) -> str:
    """Hours a day with their interval."""
    assert hours.power is not None
    factor = math.exp(_Z_90 * math.hypot(SUN_YEAR_SIGMA, YIELD_SIGMA))
    low, high = (
        _up_h(replace(hours, power=replace(hours.power, panel_w=hours.power.panel_w * times)))
        for times in (1 / factor, factor)
    )
    return f"{_up_h(hours):.1f} h a day (90 %: {low:.1f} to {high:.1f} h)"


def _up_h(hours: Hours) -> float:
    return HOURS_PER_DAY * open_frac(site_intervals(hours))
