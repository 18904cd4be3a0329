"""Money of a cycle, of a GB and of each change, by arithmetic and with intervals."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast
from linkfit.report.page.blocks import Bullets, Table
from linkfit.report.page.costs import costs_section, gb_cost, plan_month_cost
from linkfit.site.model import Site
from linkfit.site.plan import Plan
from linkfit.site.prices import PlanPrice, Prices

GB = 1e9
WORLD = np.repeat(np.arange(5, dtype=np.int32), 4)
PRICES = Prices(currency="EUR", plans=(PlanPrice(cap_bytes=10 * GB, month_cost=20.0),))
PLAN = Plan(cap_bytes=10 * GB, price_per_gb=4.0)
CHANGE = {
    "what": "video <b>rate</b>", "service": "talks", "from": "2.5 Mbit/s", "to": "700 kbit/s",
    "cost_parts": {"quality_loss_frac": 0.2, "effort_h": 0.1, "money": 5.0, "money_once": 30.0,
                   "source": "common practice"},
}  # fmt: skip


def data(used_gb, plan=PLAN):
    draws = np.asarray(used_gb, dtype=float) * GB
    world = np.arange(draws.size, dtype=np.int32) % 5
    use = Forecast(draws=draws, unit="bytes", world=world)
    above = np.maximum(draws - (plan.cap_bytes or 0.0), 0.0) / GB
    cost = None if plan.price_per_gb is None else Forecast(
        draws=above * plan.price_per_gb, unit="money", world=world)  # fmt: skip
    over = float(np.mean(above > 0))
    return DataForecast(cap_bytes=plan.cap_bytes, cycle_days=30, use=use, carried=use, cost=cost,
                        prob_over_cap=over, runs_out=None, ledger=())  # fmt: skip


def material(used_gb, *, plan=PLAN, prices=PRICES, changes=(), after_gb=None):
    site = Site(name="camp", plan=plan, prices=prices)
    after = SimpleNamespace(site=site, data=data(used_gb if after_gb is None else after_gb, plan))
    best = {"money": 5.0, "money_once": 30.0, "effort_h": 0.1, "worst_loss_frac": 0.2}
    return SimpleNamespace(
        site=site,
        data=SimpleNamespace(data=data(used_gb, plan)),
        advice=SimpleNamespace(chosen=changes, after=after),
        record={"changes": list(changes), "currency": prices.currency,
                "answers": {"cheapest": best}},
    )  # fmt: skip


def parts(section):
    bullets = [item for b in section.blocks if isinstance(b, Bullets) for item in b.items]
    return bullets, [b for b in section.blocks if isinstance(b, Table)]


def test_nothing_to_pay_and_nothing_to_change_is_no_section():
    assert costs_section(material([8.0] * 20, plan=Plan(cap_bytes=GB), prices=Prices())) is None


def test_a_cycle_that_is_sure_costs_what_arithmetic_says():
    # 15 GB on a plan of 10 GB for 20 with 4 a GB beyond: 20 for beyond, 40 in all, 2.67 a GB
    bullets, _ = parts(costs_section(material([15.0] * 20)))
    assert bullets == [
        "the plan itself costs 20 EUR a month",
        "each GB over the cap costs 4 EUR",
        "in a billing cycle what is over the cap costs 20 EUR; nothing in 0 % of cycles",
        "a billing cycle costs 40 EUR in all",
        "each GB used costs 2.67 EUR",
    ]


def test_what_varies_has_its_interval_and_its_mean():
    used = np.linspace(5, 24, 20)
    bullets, _ = parts(costs_section(material(used)))
    # 14 cycles above 10 GB: 11 to 24, the mean of what is over all 20 is 105 / 20 x 4
    assert bullets[2] == (
        "in a billing cycle what is over the cap costs 16 EUR (0 to 52 EUR, mean 21 EUR); nothing "
        "in 30 % of cycles"
    )
    # 5 GB cost 20 (4 a GB), 10 GB 20 (2 a GB), 17 GB 48 (2.82 a GB), 24 GB 76 (3.17 a GB)
    assert bullets[4] == "each GB used costs 2.8 EUR (2 to 3.3 EUR, mean 2.8 EUR)"


def test_a_bill_in_one_cycle_of_a_hundred_shows_in_the_mean():
    bullets, _ = parts(costs_section(material([8.0] * 99 + [35.0])))
    assert "costs 0 EUR (mean 1 EUR); nothing in 99 % of cycles" in bullets[2]


def test_without_the_plans_own_price_it_is_said_to_be_left_out():
    prices = replace(PRICES, plans=())
    bullets, _ = parts(costs_section(material([15.0] * 20, prices=prices)))
    assert bullets[-1] == "each GB used costs 1.33 EUR beside the plan's own price (not given)"
    assert plan_month_cost(Site(name="x", plan=PLAN, prices=prices)) is None


def test_what_the_plan_does_not_carry_is_not_paid_for():
    plan = Plan(cap_bytes=10 * GB)
    found = data([40.0] * 20, plan)
    carried = Forecast(draws=np.full(20, 10 * GB), unit="bytes", world=WORLD)
    each = gb_cost(replace(found, carried=carried), 20.0)
    assert each.draws == pytest.approx(2.0)


def test_each_change_says_what_it_takes():
    bullets, tables = parts(costs_section(
        material([15.0] * 20, changes=(CHANGE,), after_gb=[8.0] * 20)))  # fmt: skip
    assert tables[0].rows == (
        ("talks: video <b>rate</b>", "2.5 Mbit/s to 700 kbit/s", "5 EUR a month and 30 EUR once",
         "0.1 h", "20 %", "common practice"),
    )  # fmt: skip
    assert "with the changes: a billing cycle costs 20 EUR in all" in bullets
    assert bullets[-1].startswith("all of them: 5 EUR a month and 30 EUR once, 0.1 h of work")


@pytest.mark.slow
def test_the_report_has_it(report):
    section = next(one for one in report.sections if one.key == "costs")
    _, tables = parts(section)
    assert tables[0].rows
