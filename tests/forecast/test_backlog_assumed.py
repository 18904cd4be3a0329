"""What backlogs rest on, in words."""

from datetime import date

import pytest

from linkfit.forecast.backlog_assumed import backlog_assumed
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Site
from linkfit.site.plan import Plan

START = date(2026, 7, 1)
SUN = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)


def said(plan=None, start=START, hours=None):
    site = Site(name="x", plan=plan or Plan(), hours=hours or Hours())
    return " | ".join(backlog_assumed(site, start))


@pytest.mark.parametrize(("plan", "start", "text"), [
    (Plan(), START, ""),
    (Plan(cap_bytes=6e10, price_per_gb=3.0), None, ""),  # goes on as before
    (Plan(cap_bytes=6e10, cycle_day=5), START, "the plan's cycles begin on day 5 of each month"),
    (Plan(cap_bytes=6e10), None,
     "no first day is known, so the plan's cycles are taken as 30 days, the first of which begins "
     "with the backlog; give --start for those of the calendar"),
])  # fmt: skip
def test_cycles_are_of_the_calendar_where_a_day_is_known(plan, start, text):
    assert said(plan, start) == text


def test_the_rules_of_the_plan_are_named():
    text = said(Plan(cap_bytes=6e10, carry_over_bytes=2e10, round_up_bytes=1e6))
    assert "a cycle leaves up to 20.0 GB of its unused data to the next one" in text
    assert "each session is rounded up to whole 1.00 MB, 24 a day" in text


def test_months_have_their_sun_where_a_day_is_known():
    power = Power(battery_wh=200, load_w=30, panel_w=100, sun_hours=3.5, sun_hours_by_month=SUN)
    dated, bare = (said(start=start, hours=Hours(power=power)) for start in (START, None))
    assert "the sun of 30 days from 2026-07-01 on" in dated
    assert dated.endswith("each later month has its own sun, a second year that of the first")
    assert "the mean sun of the year, since no date is given" in bare
    assert "later" not in bare


def test_a_battery_that_is_taken_as_full_is_told():
    """In a dark month it carries a backlog that the sun of its days would not."""
    power = Power(battery_wh=200, load_w=30, panel_w=100, sun_hours=3.5)
    assert "the battery is full on the first day" in said(hours=Hours(power=power))
    assert "battery" not in said()
