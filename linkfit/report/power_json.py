"""Battery and panel as the record ``linkfit/power/1``."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from linkfit.forecast.energy import battery_alone_h
from linkfit.forecast.power import SHADE_YIELD_FRAC
from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.site.sun import MONTH_NAMES

if TYPE_CHECKING:
    from linkfit.forecast.energy import GbEnergy, HoursGain, MonthHours
    from linkfit.site.hours import Power

SCHEMA = "linkfit/power/1"
_HOURS_PER_DAY = 24.0


def power_record(
    power: "Power",
    months: "Sequence[MonthHours]",
    gains: "Sequence[HoursGain]",
    energies: "Sequence[GbEnergy]",
    *,
    site: str,
    seed: int,
    gains_month: int | None,
    notes: Sequence[str],
    cautions: Sequence[str],
) -> dict[str, Any]:
    """Hours up a day by month, energy for a GB, what changes bring; powers in W, energies in Wh."""
    alone_h = battery_alone_h(power)
    return {
        "schema": SCHEMA,
        "seed": seed,
        "site": site,
        "power": {
            "battery_wh": number(power.battery_wh),
            "usable_frac": number(power.usable_frac),
            "load_w": number(power.load_w),
            "load_busy_w": number(power.load_busy_w),
            "panel_w": number(power.panel_w),
            "panel_in_sun_w": number(power.panel_w * power.yield_frac),
            "panel_in_shade_w": number(power.panel_w * min(SHADE_YIELD_FRAC, power.yield_frac)),
            "yield_frac": number(power.yield_frac),
            "output_frac": number(power.output_frac),
        },
        "battery_alone_h": number(alone_h),
        "battery_alone_days": number(alone_h / _HOURS_PER_DAY),
        "months": [_month(one) for one in months],
        "changes_month": _name(gains_month),
        "changes": [{"what": one.what, **quantiles(one.gain, "_h")} for one in gains],
        "energy_per_gb": [_energy(one) for one in energies],
        "notes": list(notes),
        "cautions": list(cautions),
    }


def _name(month: int | None) -> str:
    return "mean day of the year" if month is None else MONTH_NAMES[month - 1]


def _month(one: "MonthHours") -> dict[str, Any]:
    """Hours of single days, of the month's mean, and the chance of a day without a gap."""
    means = quantiles(one.mean, "_h")
    return {
        "month": _name(one.month),
        "sun_hours": number(one.sun_hours),
        **quantiles(one.days, "_h"),
        **{f"mean_{name}": value for name, value in means.items()},
        "prob_whole_day": prob(one.prob_whole_day),
    }


def _energy(one: "GbEnergy") -> dict[str, Any]:
    return {
        "direction": one.direction,
        **quantiles(one.whole, "_wh"),
        "added": None if one.added is None else quantiles(one.added, "_wh"),
    }
