"""Changes that buy more: a larger data plan, a larger panel and battery, at the user's own prices.

What it costs is known from the site file alone; without a price it is not known, never nothing.
Each kind is one setting, so that a chosen set never adds two purchases up beyond a limit.
"""

import math
from collections.abc import Iterator
from dataclasses import replace

from linkfit.advice.change import COMMON_PRACTICE, Change, Cost, source_of
from linkfit.advice.edits import Edit
from linkfit.forecast.plan_sizes import USUAL_SIZES_GB
from linkfit.forecast.power import stored_wh, sun_wh
from linkfit.site.hours import Power
from linkfit.site.model import Site
from linkfit.units import format_size

PLAN_SETTING, POWER_SETTING = "data plan", "panel and battery"
SETTINGS = (PLAN_SETTING, POWER_SETTING)
N_PLANS = 5  # the next larger ones: a plan of another order is another question
# panel and battery, times the present ones
POWER_LEVELS = ((1.5, 1.0), (2.0, 1.0), (2.0, 2.0))
BATTERY_LEVELS = ((1.0, 1.5), (1.0, 2.0))  # where there is no panel
PLAN_EFFORT_H, POWER_EFFORT_H = 0.5, 4.0
OWN_PRICES = source_of("money: prices of the site file")


def supply_changes(site: Site) -> Iterator[Change]:
    """Larger plans, and a larger panel and battery, weakest first."""
    yield from _larger_plans(site)
    yield from _more_power(site)


def _larger_plans(site: Site) -> Iterator[Change]:
    now_bytes = site.plan.cap_bytes
    if now_bytes is None:
        return
    sizes = [plan.cap_bytes for plan in site.prices.plans] or [n * 1e9 for n in USUAL_SIZES_GB]
    larger = sorted(size for size in sizes if size > now_bytes)[:N_PLANS]
    for size_bytes in larger:
        month_cost = site.prices.plan_month_cost(site.plan, size_bytes)
        priced = month_cost is not None
        yield Change(
            what="data plan",
            service="",
            setting=PLAN_SETTING,
            before_text=format_size(now_bytes),
            after_text=format_size(size_bytes),
            cost_text=_plan_text(site, size_bytes),
            cost=Cost(
                effort_h=PLAN_EFFORT_H,
                month_cost=month_cost,
                source=OWN_PRICES if priced else COMMON_PRACTICE,
            ),
            edits=(Edit(editor="plan", field="cap_bytes", value=size_bytes),),
            strength_frac=math.log(size_bytes / now_bytes) / math.log(larger[-1] / now_bytes),
        )


def _plan_text(site: Site, size_bytes: float) -> str:
    """What the money is for: a plan on sale, or data by the GB."""
    on_sale = any(plan.cap_bytes == size_bytes for plan in site.prices.plans)
    if not on_sale and site.prices.extra_per_gb is not None:
        return "more data bought beforehand"
    if not on_sale and site.plan.price_per_gb is not None:
        return "more data beyond the cap, where all of it is used"
    return "a larger plan"


def _more_power(site: Site) -> Iterator[Change]:
    now = site.hours.power
    if now is None or not site.backlogs:  # nothing else waits for hours of power
        return
    levels = [
        replace(now, panel_w=panel * now.panel_w, battery_wh=battery * now.battery_wh)
        for panel, battery in (POWER_LEVELS if now.panel_w else BATTERY_LEVELS)
    ]
    most_wh = _day_wh(levels[-1]) - _day_wh(now)
    for then in levels if most_wh > 0 else ():
        gained_wh = _day_wh(then) - _day_wh(now)
        once_cost = site.prices.power_once_cost(
            then.panel_w - now.panel_w, then.battery_wh - now.battery_wh
        )
        yield Change(
            what="panel and battery",
            service="",
            setting=POWER_SETTING,
            before_text=_power_text(now),
            after_text=_power_text(then),
            cost_text="to buy, mount and wire",
            cost=Cost(
                effort_h=POWER_EFFORT_H,
                once_cost=once_cost,
                source=COMMON_PRACTICE if once_cost is None else OWN_PRICES,
            ),
            edits=tuple(
                Edit(editor="power", field=field, value=getattr(then, field))
                for field in ("panel_w", "battery_wh")
            ),
            strength_frac=min(max(gained_wh / most_wh, 1e-6), 1.0),
        )


def _day_wh(power: Power) -> float:
    """Energy of a mean day that begins with a full battery. [Wh]"""
    return stored_wh(power) + sun_wh(power)


def _power_text(power: Power) -> str:
    battery = f"{power.battery_wh:.4g} Wh"
    return f"{power.panel_w:.4g} W, {battery}" if power.panel_w else battery
