"""The search against every subset; its promises: confirmed in full, each site once, few calls."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkfit.advice.change import Change, Cost, apply_all
from linkfit.advice.changes import candidate_changes
from linkfit.advice.edits import Edit
from linkfit.advice.measures import target_measures
from linkfit.advice.search import search_changes
from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import (
    DataForecast,
    Evaluation,
    LedgerEntry,
    ServiceForecast,
    TaskForecast,
)
from linkfit.site.model import Service, Site, SizeLaw, Task

HUT = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


MB = 1e6


def hut(n_services):
    """Services whose sizes, 1 MB at first, are the knobs; `times_s` makes their times of them."""
    return Site(
        name="hut",
        services=tuple(
            Service(name=f"s{i}", kind="own", n_users=1, tasks=(
                Task(name="t", flow="out", size=SizeLaw(median_bytes=MB), target_s=1.0),
            ))
            for i in range(n_services)
        ),
    )  # fmt: skip


def shrink(i, level, points):
    """Service i to 1 / 2^level of its size."""
    size = SizeLaw(median_bytes=MB * 2.0**-level)
    return Change(
        what="size", service=f"s{i}", setting=f"s{i}: t: size", before_text="1",
        after_text=f"2^-{level}", cost_text="smaller", cost=Cost(effort_h=points),
        edits=(Edit(editor="task", field="size", value=size, service=f"s{i}", task="t"),),
        strength_frac=level / 3,
    )  # fmt: skip


def evaluator(times_s, calls=None):
    """A fake whose task times are any function of the sizes, so that effects need not add."""

    def evaluate(site):
        if calls is not None:
            calls.append(site)
        sizes = np.array([service.tasks[0].size.median_bytes / MB for service in site.services])
        services = []
        for service, time_s in zip(site.services, times_s(sizes), strict=True):
            time = Forecast(draws=np.full(4, time_s), unit="s", world=np.zeros(4))
            task = TaskForecast(service=service.name, task=service.tasks[0], time=time,
                                prob_within_target=None, n_max_users=None)  # fmt: skip
            services.append(ServiceForecast(service=service, tasks=(task,)))
        use = Forecast(draws=np.ones(1), unit="bytes", world=np.zeros(1))
        ledger = [LedgerEntry(cause="t", service=s.name, use=use) for s in site.services]
        data = DataForecast(cap_bytes=None, cycle_days=30.0, use=use, prob_over_cap=None,
                            runs_out=None, ledger=tuple(ledger))  # fmt: skip
        return Evaluation(site=site, seed=0, services=tuple(services), data=data, backlogs=())

    return evaluate


def shared_link(weights, scale):
    """Each task waits for all others in the ratio of `weights`: interactions, none additive."""

    def times_s(sizes):
        return scale * (0.3 * sizes + weights @ sizes) / (1 + 0.2 * (1 - sizes).sum())

    return times_s


def every_set(changes):
    by_setting = {}
    for change in changes:
        by_setting.setdefault(change.setting, [None]).append(change)
    for choice in product(*by_setting.values()):
        yield tuple(change for change in choice if change is not None)


def feasible(site, evaluate, chosen):
    return all(m.met for m in target_measures(evaluate(apply_all(site, chosen))))


@st.composite
def small_problems(draw):
    n = draw(st.integers(2, 3))
    changes = [
        shrink(i, level, draw(st.integers(1, 12)) / 4 * level)
        for i in range(n)
        for level in draw(st.sampled_from([(1,), (3,), (1, 3), (1, 2)]))
    ]
    weights = np.array([[draw(st.integers(0, 8)) / 8 for _ in range(n)] for _ in range(n)])
    return hut(n), changes, shared_link(weights, draw(st.sampled_from([0.8, 1.1, 1.6, 2.5, 4.0])))


@HUT
@given(small_problems())
def test_no_confirmed_set_is_cheaper_than_the_chosen_one(task):
    """Brute force over every set of one level a setting, on times that do not add."""
    site, changes, times_s = task
    evaluate = evaluator(times_s)
    found = search_changes(site, changes, evaluate, n_evaluations=80, thorough=True)
    costs = [sum(change.cost.points for change in chosen) for chosen in every_set(changes)
             if feasible(site, evaluate, chosen)]  # fmt: skip
    assert found.best.feasible == bool(costs)
    assert found.exhausted
    if costs:
        assert found.best.cost == pytest.approx(min(costs))
        assert feasible(site, evaluate, found.best.changes)


@HUT
@given(small_problems())
def test_without_being_thorough_what_is_called_feasible_is(task):
    site, changes, times_s = task
    evaluate = evaluator(times_s)
    found = search_changes(site, changes, evaluate)
    assert found.best.feasible == feasible(site, evaluate, found.best.changes)
    assert found.best.shortfall <= found.before.shortfall + 0.02
    used = [change.setting for change in found.best.changes]
    assert len(used) == len(set(used))


def test_effects_that_add_need_no_thoroughness_for_the_cheapest_set():
    """Times are products of powers of two, so margins add exactly and the choice is proved."""

    def times_s(sizes):
        return np.array([3.9 * sizes[0] * sizes[1], 1.9 * sizes[1]])

    changes = [shrink(0, 1, 1.0), shrink(0, 3, 2.5), shrink(1, 1, 1.2), shrink(1, 3, 4.0)]
    found = search_changes(hut(2), changes, evaluator(times_s))
    # service 1 needs one halving of itself, service 0 one more: 1.2 + 1.0
    assert [change.name for change in found.best.changes] == [
        "s0: t: size -> 2^-1", "s1: t: size -> 2^-1",
    ]  # fmt: skip
    assert found.best.cost == pytest.approx(2.2)
    assert found.gap_frac == 0


def test_a_sum_that_promised_too_much_is_corrected_until_confirmed():
    """Together the changes do less than the sum of their effects: a stronger set is needed."""

    def times_s(sizes):
        saved = np.log2(1 / sizes).sum()
        return np.array([3.5 / 2 ** (saved - 0.25 * np.log2(1 / sizes).prod()), 0.5])

    changes = [shrink(0, 1, 1.0), shrink(1, 1, 1.0), shrink(0, 3, 5.0)]
    evaluate = evaluator(times_s)
    assert not feasible(hut(2), evaluate, (changes[0], changes[1]))
    found = search_changes(hut(2), changes, evaluate)
    assert found.best.feasible
    assert found.best.cost == pytest.approx(5.0)


def test_many_small_gains_that_overlap_are_added_one_by_one_until_it_fits():
    """Each change after the first brings half of what it brings alone; all four are needed."""

    def times_s(sizes):
        saved = np.sort(np.log2(1 / sizes))[::-1]
        return np.array([5.5 / 2 ** (saved[0] + 0.5 * saved[1:].sum()), *([0.1] * 3)])

    changes = [shrink(i, 1, 1.0 + i / 4) for i in range(4)]
    found = search_changes(hut(4), changes, evaluator(times_s))
    assert found.best.feasible == (5.5 <= 2**2.5)
    assert len(found.best.changes) == 4


def test_if_nothing_fits_the_closest_set_is_found_and_no_more_is_spent():
    def times_s(sizes):
        return np.array([64.0 * sizes[0], 0.5])

    changes = [shrink(0, 1, 1.0), shrink(0, 3, 2.0), shrink(1, 3, 1.0)]
    found = search_changes(hut(2), changes, evaluator(times_s))
    assert not found.best.feasible
    assert [change.name for change in found.best.changes] == ["s0: t: size -> 2^-3"]
    assert found.best.shortfall == pytest.approx(3.0)


def test_changes_that_spoil_each_other_do_not_hide_the_closest_set():
    """All that helps together is nearer than each alone, and still far from the closest set."""

    def times_s(sizes):
        a, b, *small = np.log2(1 / sizes)
        first = 4.0 - a - 0.8 * b + 1.5 * a * b
        second = 2.0 - 0.5 * small[0] - 0.3 * small[1] - 0.3 * small[2]
        return np.array([2.0**first, 2.0**second, 0.1, 0.1, 0.1])

    changes = [shrink(i, 1, 1.0 + i / 10) for i in range(5)]
    found = search_changes(hut(5), changes, evaluator(times_s))
    assert [change.service for change in found.best.changes] == ["s0", "s2", "s3", "s4"]
    assert found.best.shortfall == pytest.approx(3.9)
    assert found.exhausted


def test_the_front_ends_with_the_cheapest_set_where_no_set_meets_all():
    """All changes bring the first target nearer, which none reach; two of them are enough else."""

    def times_s(sizes):
        return np.array([200.0 * sizes.prod(), 3.9 * sizes[1] * sizes[2], *([0.1] * 4)])

    changes = [shrink(i, 1, 1.0 + i / 10) for i in range(6)]
    found = search_changes(hut(6), changes, evaluator(times_s), n_more=8)
    assert len(found.best.changes) == 6
    assert [change.service for change in found.front[-1].changes] == ["s1", "s2"]
    assert found.front[-1].n_met == found.best.n_met == 5


def test_a_site_that_fits_is_left_alone_but_gains_are_still_measured():
    found = search_changes(hut(2), [shrink(0, 1, 1.0)], evaluator(lambda sizes: 0.5 * sizes))
    assert found.best.changes == ()
    assert len(found.singles) == 1


def test_without_changes_the_site_is_judged_as_it_is():
    found = search_changes(hut(1), [], evaluator(lambda sizes: 4 * sizes))
    assert found.best is found.before
    assert found.exhausted
    assert found.n_evaluations == 1


def test_no_site_is_evaluated_twice_and_the_budget_holds(camp, rates, fake_evaluator):
    calls = []
    fake = fake_evaluator()

    def evaluate(site):
        calls.append(site)
        return fake.evaluate(site)

    changes = candidate_changes(camp, rates)
    found = search_changes(camp, changes, evaluate, n_evaluations=12)
    assert len(calls) == found.n_evaluations
    assert len(set(calls)) == len(calls)
    # on top of the budget: chosen changes that had not been evaluated alone
    assert found.n_evaluations <= 12 + len(found.best.changes)


def test_the_chosen_set_is_what_its_own_evaluation_says(camp, rates, fake_evaluator):
    fake = fake_evaluator()
    found = search_changes(camp, candidate_changes(camp, rates), fake.evaluate)
    assert found.best.evaluation.site == apply_all(camp, found.best.changes)
    assert found.best.measures == target_measures(found.best.evaluation)
    single = {outcome.changes[0].name for outcome in found.singles}
    assert {change.name for change in found.best.changes} <= single


def test_a_larger_plan_and_a_faster_link_never_cost_more(camp, rates, fake_evaluator):
    costs = []
    for rate_bps in (8e6, 20e6, 80e6):
        site = replace(camp, plan=replace(camp.plan, cap_bytes=90e9))
        found = search_changes(site, candidate_changes(site, rates),
                               fake_evaluator(rate_bps).evaluate)  # fmt: skip
        costs.append((not found.best.feasible, round(found.best.cost, 6)))
    assert costs == sorted(costs, reverse=True)


def test_a_set_that_the_exact_evaluation_refuses_is_not_chosen():
    """The quick evaluation says that one halving is enough, the exact one wants more."""
    changes = [shrink(0, 1, 1.0), shrink(0, 3, 2.0)]
    quick, exact = evaluator(lambda sizes: 1.9 * sizes), evaluator(lambda sizes: 2.1 * sizes)
    assert search_changes(hut(1), changes, quick).best.cost == 1.0
    found = search_changes(hut(1), changes, quick, confirm=exact)
    assert found.best.cost == 2.0
    assert found.best.measures[0].value == pytest.approx(2.1 / 8)


def test_the_set_that_meets_most_targets_is_confirmed_where_none_meets_all():
    """Service 0 smaller helps two targets and spoils a third: most met, yet far from closest."""

    def times_s(sizes, factor):
        helped = factor * np.array([4.0, 1.9]) * sizes[0]
        return np.array([*helped, 3.0 * sizes[2] / sizes[0] ** 2])

    changes = [shrink(0, 3, 1.0), shrink(2, 3, 2.0)]
    quick = evaluator(lambda sizes: times_s(sizes, 1.0))
    exact = evaluator(lambda sizes: times_s(sizes, 10.0 if sizes[0] < 1 else 1.0))
    unsure = search_changes(hut(3), changes, quick)
    assert (unsure.best.n_met, unsure.front[-1].n_met) == (1, 2)
    sure = search_changes(hut(3), changes, quick, confirm=exact)
    assert (sure.best.n_met, sure.front[-1].n_met) == (1, 1)


def test_each_set_on_the_front_is_one_that_the_exact_evaluation_agrees_with():
    """The quick evaluation flatters every set; a single change that is told may be on the front."""
    changes = [shrink(i, 1, points) for i, points in enumerate((1.0, 1.5, 2.0, 4.0))]
    quick = evaluator(lambda sizes: 1.8 * sizes)
    exact = evaluator(lambda sizes: np.array([1.8, 2.2, 1.8, 1.9]) * sizes)
    found = search_changes(hut(4), changes, quick, confirm=exact, n_more=8)
    assert len(found.front) >= 3
    for outcome in found.front:
        judged = target_measures(exact(outcome.evaluation.site))
        assert [m.value for m in outcome.measures] == [m.value for m in judged]


def test_a_budget_too_small_to_compare_is_refused():
    with pytest.raises(InputError, match=r"n_evaluations: expected a whole number >= 2, got 1"):
        search_changes(hut(1), [], evaluator(lambda sizes: sizes), n_evaluations=1)
