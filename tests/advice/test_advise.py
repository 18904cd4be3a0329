"""The advice on the invented camp, with a stand-in for the forecasts and with the real one."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.advice.advise import advise
from linkfit.advice.change import apply_all
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Site
from linkfit.site.plan import Plan
from linkfit.site.prices import Prices


@pytest.fixture(scope="module")
def link():
    """A link of 6 Mbit/s up and 24 down that swings by 40 %."""
    rng = np.random.default_rng(5)
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(rate * np.exp(0.4 * rng.standard_normal(1200)), direction=way)
                for rate, way in ((6e6, "up"), (24e6, "down"))
            ]
        )
    )


def test_an_overrun_camp_gets_a_set_with_reasons_and_verdicts(camp, link, fake_evaluator):
    site = replace(camp, plan=replace(camp.plan, cap_bytes=90e9))
    advice = advise(site, link, evaluator=fake_evaluator(20e6))
    assert advice.feasible
    assert advice.in_the_way == ()
    assert advice.verdicts["finds catalogue"] == "fits with changes"
    assert advice.verdicts["field notes"] == "fits"
    assert set(advice.verdicts) == {service.name for service in site.services}
    assert advice.after.site == apply_all(site, advice.chosen)
    assert not all(measure.met for measure in advice.measures_before)
    assert all(measure.met for measure in advice.measures_after)
    assert len(advice.reasons) == len(advice.chosen) > 0
    assert all(change.before_text in text and change.after_text in text
               for change, text in zip(advice.chosen, advice.reasons, strict=True))  # fmt: skip
    chosen = [outcome.change.name for outcome in advice.outcomes if outcome.chosen]
    assert sorted(chosen) == [change.name for change in advice.chosen]


def test_a_plan_that_no_setting_meets_is_named_as_what_is_in_the_way(camp, link, fake_evaluator):
    site = replace(camp, plan=Plan(cap_bytes=5e9))
    advice = advise(site, link, evaluator=fake_evaluator(20e6))
    assert not advice.feasible
    assert any("wanted 5.00 GB or less" in text for text in advice.in_the_way)
    before, after = (
        next(m for m in measures if m.key == "data plan")
        for measures in (advice.measures_before, advice.measures_after)
    )
    assert after.value < before.value


def test_few_measurements_that_could_turn_the_answer_are_called_that(camp, link, fake_evaluator):
    wide = advise(camp, link, evaluator=fake_evaluator(6e6, world_spread=4.0))
    assert "not enough data" in wide.verdicts.values()
    sure = advise(camp, link, evaluator=fake_evaluator(6e6, world_spread=1.01))
    assert "not enough data" not in sure.verdicts.values()


def test_the_same_seed_gives_the_same_advice(camp, link, fake_evaluator):
    one, two = (advise(camp, link, seed=3, evaluator=fake_evaluator()) for _ in range(2))
    assert one.chosen == two.chosen
    assert one.reasons == two.reasons


def test_a_site_without_services_only_has_its_plan_to_judge(link, fake_evaluator):
    advice = advise(Site(name="hut"), link, evaluator=fake_evaluator())
    assert advice.feasible
    assert (advice.chosen, advice.outcomes, dict(advice.verdicts)) == ((), (), {})


@pytest.mark.slow
def test_the_real_forecasts_confirm_what_was_chosen(camp, link):
    small = replace(camp, services=camp.services[:1], backlogs=())
    advice = advise(small, link, n_evaluations=12)
    assert advice.verdicts["finds catalogue"] != "fits"  # clips over the body limit, as it is
    changed = {change.setting for change in advice.chosen}
    assert "finds catalogue: add a clip: chunk size" in changed
    short = sum(m.shortfall for m in advice.measures_after)
    assert short < sum(m.shortfall for m in advice.measures_before)


@pytest.mark.parametrize("most", [2, 9])
def test_a_site_of_very_many_tasks_has_the_numbers_of_users_where_they_matter_and_says_so(
    camp, link, fake_evaluator, monkeypatch, most
):
    fake, asked = fake_evaluator(20e6), []

    class Counting:
        def evaluate(self, site, *, limits=True, exact=None, users=None):
            asked.append(users)
            return fake.evaluate(site)

    monkeypatch.setattr("linkfit.advice.advise.MOST_TASKS_WITH_USERS", most)
    advice = advise(camp, link, evaluator=Counting())
    assert asked[-1] == asked[-2]
    tasks = {service.name: len(service.tasks) for service in camp.services}
    assert sum(tasks[name] for name in asked[-1]) <= most
    missing = {m.service for m in advice.measures_before if not m.met}
    concerned = {name for name in missing if name in tasks}
    assert asked[-1] <= concerned or concerned <= asked[-1]
    left_out = ", ".join(name for name in tasks if name not in asked[-1])
    assert f"was left out for {left_out}: the site has more" in advice.before.notes[-1]


def test_a_site_of_few_tasks_has_the_numbers_of_users_of_all(camp, link, fake_evaluator):
    advice = advise(camp, link, evaluator=fake_evaluator(20e6))
    assert not any("left out" in note for note in advice.before.notes)


def overrun(camp, **prices):
    """The camp on a plan that it overruns by a little."""
    return replace(
        camp, plan=replace(camp.plan, cap_bytes=90e9), prices=Prices(currency="EUR", **prices)
    )


@pytest.mark.parametrize(
    "prices",
    [
        {},  # no price
        {"extra_per_gb": 0.5},  # a price, and nothing said about spending
        {"extra_per_gb": 0.5, "most_month_cost": 0.01},  # too dear
        {"most_month_cost": 1e9},  # without a price no sum is enough
    ],
)
def test_money_that_nobody_allowed_is_offered_and_never_spent(camp, link, fake_evaluator, prices):
    advice = advise(overrun(camp, **prices), link, evaluator=fake_evaluator(20e6))
    (plan,) = advice.offered
    assert plan.setting == "data plan"
    assert not any(change.cost.buys for one in advice.front for change in one.changes)
    assert not any(change.cost.buys for change in advice.chosen)
    (shown,) = [o for o in advice.outcomes if o.change is plan]  # evaluated alone all the same
    assert not shown.chosen
    assert shown.gains[0].measure == "chance that the data plan runs out in a cycle"
    assert shown.gains[0].after <= 0.05 < shown.gains[0].before
    assert (advice.cheapest.month_cost, advice.cheapest.once_cost) == (0.0, 0.0)


def test_money_that_was_allowed_is_spent_where_it_saves_quality_and_summed_up(
    camp, link, fake_evaluator
):
    site = overrun(camp, extra_per_gb=0.5, most_month_cost=200.0)
    advice = advise(site, link, evaluator=fake_evaluator(20e6))
    unpaid = advise(overrun(camp), link, evaluator=fake_evaluator(20e6))
    (plan,) = [change for change in advice.chosen if change.cost.buys]
    assert advice.feasible
    assert advice.cheapest.month_cost == plan.cost.month_cost > 0
    assert advice.cheapest.cost < unpaid.cheapest.cost
    assert advice.after.site.plan.cap_bytes == plan.edits[0].value


def test_a_site_that_keeps_within_its_plan_is_offered_nothing(camp, link, fake_evaluator):
    roomy = replace(camp, plan=replace(camp.plan, cap_bytes=1e13))
    assert advise(roomy, link, evaluator=fake_evaluator(20e6)).offered == ()
