"""What ``linkfit power`` was asked, and its answer as one record."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.link.model import LinkModel
    from linkfit.site.hours import Power
    from linkfit.site.model import Site


def asked_power(
    site: "Site", *, battery: str | None, load: str | None, panel: str | None
) -> "Power":
    """The site's battery and panel with what the options change."""
    from linkfit.units import parse_energy_wh, parse_power_w

    power = site.hours.power
    if power is None:
        raise InputError(
            'SITE: expected a table [power], got none; add [power] with battery = "640 Wh", '
            'load = "13 W", panel = "120 W", sun_hours = 3.5 in place of [hours]'
        )
    if battery is not None:
        power = replace(power, battery_wh=parse_energy_wh(battery, where="--battery"))
    if load is not None:
        load_w = parse_power_w(load, where="--load")
        busy_w = power.load_busy_w
        if busy_w is not None:  # what sending adds stays
            busy_w = load_w + busy_w - power.load_w
        power = replace(power, load_w=load_w, load_busy_w=busy_w)
    if panel is not None:
        power = replace(power, panel_w=parse_power_w(panel, where="--panel"))
    return power


def power_answer(
    site: "Site", power: "Power", link: "LinkModel | None", *, month: str | None, seed: int
) -> dict[str, Any]:
    """The record of `power`: hours of `month`, or of all, and energy for a GB on `link`."""
    from linkfit.advice.cautions import BATTERY_CARE, POWER_LIMITS
    from linkfit.forecast.energy import all_months, hours_gains, link_energies, month_hours
    from linkfit.report.power_json import power_record
    from linkfit.report.power_notes import power_notes
    from linkfit.site.sun import month_number

    if month is None:
        months = all_months(power, seed=seed)
    else:
        number = month_number(month, where="--month")
        months = (month_hours(power, number, seed=seed),)
    worst = min(months, key=lambda one: float(one.mean.quantile(0.5))).month
    energies = () if link is None else link_energies(power, site.path, link, seed=seed)
    return power_record(
        power, months, hours_gains(power, worst, seed=seed), energies,
        site=site.name, seed=seed, gains_month=worst, notes=power_notes(power, month),
        cautions=(POWER_LIMITS, BATTERY_CARE),
    )  # fmt: skip
