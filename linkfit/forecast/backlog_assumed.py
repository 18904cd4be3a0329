"""What the days of backlogs rest on besides link and heap: cycles, plan rules, sun; in words."""

from datetime import date

from linkfit.forecast.backlog_case import case_days, is_metered
from linkfit.forecast.hours_assumed import hours_assumed
from linkfit.forecast.path_source import CYCLE_DAYS
from linkfit.site.model import Site
from linkfit.units import format_size


def backlog_assumed(site: Site, start: date | None) -> tuple[str, ...]:
    """One sentence each, for backlogs of `site` that begin on `start` (None: not known)."""
    plan, said = site.plan, []
    if is_metered(site):
        if case_days(site, start, 0.0).calendar is None:
            said.append(
                f"no first day is known, so the plan's cycles are taken as {CYCLE_DAYS} days, the "
                "first of which begins with the backlog; give --start for those of the calendar"
            )
        else:
            said.append(f"the plan's cycles begin on day {plan.cycle_day} of each month")
        if plan.carry_over_bytes:
            said.append(
                f"a cycle leaves up to {format_size(plan.carry_over_bytes)} of its unused data to "
                "the next one"
            )
        if plan.round_up_bytes:
            said.append(
                f"each session is rounded up to whole {format_size(plan.round_up_bytes)}, "
                f"{plan.sessions_per_day:g} a day while the server is up all day"
            )
    sun = hours_assumed(site.hours, start)
    if sun:
        said += [sun, "the battery is full on the first day"]
        if start is not None and site.hours.power and site.hours.power.sun_hours_by_month:
            said.append("each later month has its own sun, a second year that of the first")
    return tuple(said)
