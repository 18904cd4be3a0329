"""Larger plans, panels and batteries: offered by size, priced by the user alone."""

from dataclasses import replace

import pytest

from linkfit.advice.supply_changes import PLAN_SETTING, POWER_SETTING, supply_changes
from linkfit.forecast.power import stored_wh, sun_wh
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Backlog, Site, SizeLaw
from linkfit.site.plan import Plan
from linkfit.site.prices import PlanPrice, Prices

HEAP = Backlog(name="heap", n_items=10, size=SizeLaw(median_bytes=1e6))
POWERED = Site(
    name="hut", backlogs=(HEAP,),
    hours=Hours(power=Power(battery_wh=600.0, load_w=13.0, panel_w=120.0, sun_hours=2.0)),
)  # fmt: skip


def plans(site):
    return [c for c in supply_changes(site) if c.setting == PLAN_SETTING]


def power(site):
    return [c for c in supply_changes(site) if c.setting == POWER_SETTING]


def test_the_next_usual_sizes_are_offered_without_a_price():
    found = plans(Site(name="hut", plan=Plan(cap_bytes=60e9)))
    assert [c.after_text for c in found] == ["80.0 GB", "100 GB", "150 GB", "200 GB", "300 GB"]
    assert all(c.cost.month_cost is None for c in found), "never nothing"
    assert [c.cost.source for c in found] == ["common practice"] * 5
    strengths = [c.strength_frac for c in found]
    assert strengths == sorted(strengths)
    assert strengths[-1] == 1


def test_only_plans_on_sale_are_offered_where_they_are_said():
    sold = ((60, 20), (90, 26), (30, 9))
    on_sale = tuple(PlanPrice(cap_bytes=gb * 1e9, month_cost=money) for gb, money in sold)
    site = Site(name="hut", plan=Plan(cap_bytes=60e9), prices=Prices(plans=on_sale))
    (found,) = plans(site)
    assert (found.after_text, found.cost.month_cost) == ("90.0 GB", 6.0)
    assert found.cost.source.startswith("money: prices of the site file")
    assert found.apply(site).plan == replace(site.plan, cap_bytes=90e9)


@pytest.mark.parametrize(
    ("plan", "prices", "first", "text"),
    [
        (Plan(cap_bytes=10e9, price_per_gb=4.0), Prices(), 20.0,
         "more data beyond the cap, where all of it is used"),
        (Plan(cap_bytes=10e9), Prices(extra_per_gb=2.0), 10.0, "more data bought beforehand"),
    ],
)  # fmt: skip
def test_data_by_the_gb_is_priced_by_the_gb(plan, prices, first, text):
    found = plans(Site(name="hut", plan=plan, prices=prices))[0]  # from 10 to 15 GB
    assert (found.cost.month_cost, found.cost_text) == (first, text)


@pytest.mark.parametrize("plan", [Plan(), Plan(cap_bytes=60e9, tether_bytes=30e9)])
def test_what_a_larger_plan_does_not_help_gets_none(plan):
    site = Site(name="hut", plan=plan)
    assert all(c.apply(site) is site for c in plans(site))


def test_more_panel_comes_before_more_battery_and_costs_what_the_user_says():
    prices = Prices(panel_per_w=1.0, battery_per_wh=0.5)
    found = power(replace(POWERED, prices=prices))
    assert [c.after_text for c in found] == [
        "180 W, 600 Wh", "240 W, 600 Wh", "240 W, 1200 Wh",
    ]  # fmt: skip
    assert [c.cost.once_cost for c in found] == [60.0, 120.0, 420.0]
    assert all(c.cost.month_cost == 0 for c in found)
    then = found[-1].apply(POWERED).hours.power
    assert (then.panel_w, then.battery_wh, then.load_w) == (240.0, 1200.0, 13.0)
    # strength in proportion to the energy of a day
    gained = [stored_wh(p) + sun_wh(p) for p in (c.apply(POWERED).hours.power for c in found)]
    now = stored_wh(POWERED.hours.power) + sun_wh(POWERED.hours.power)
    assert [c.strength_frac for c in found] == pytest.approx(
        [(g - now) / (gained[-1] - now) for g in gained]
    )


def test_a_battery_alone_grows_where_there_is_no_panel():
    alone = replace(POWERED, hours=Hours(power=Power(battery_wh=600.0, load_w=13.0)))
    assert [c.after_text for c in power(alone)] == ["900 Wh", "1200 Wh"]
    assert all(c.cost.once_cost is None for c in power(alone))


def test_power_is_offered_only_to_what_waits_for_it():
    assert power(replace(POWERED, backlogs=())) == []
    assert power(replace(POWERED, hours=Hours())) == []
    empty = replace(POWERED, hours=Hours(power=Power(battery_wh=0.0, load_w=13.0)))
    assert power(empty) == []
