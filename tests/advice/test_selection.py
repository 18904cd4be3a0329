"""The mixed-integer choice against every subset."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.advice.selection import (
    Problem,
    SolveCutShortError,
    cheapest_meeting,
    cheapest_selection,
    closest_selection,
)
from linkfit.errors import InputError


def problem(costs, settings_, effects, needs):
    return Problem(
        costs=np.array(costs, float),
        settings=np.array(settings_),
        effects=np.array(effects, float).reshape(len(needs), len(costs)),
        needs=np.array(needs, float),
    )


def every_choice(task):
    n = task.costs.size
    for size in range(n + 1):
        for choice in combinations(range(n), size):
            if len(set(task.settings[list(choice)])) == size:
                taken = list(choice)
                missing = task.needs - task.effects[:, taken].sum(axis=1)
                yield choice, task.costs[taken].sum(), np.maximum(missing, 0).sum()


# multiples of 1/8 are exact, so a tie is a tie in the solver and in the oracle
eighths = st.integers(-8, 24).map(lambda k: k / 8)


@st.composite
def problems(draw):
    n, m = draw(st.integers(1, 6)), draw(st.integers(1, 3))
    return problem(
        [draw(st.integers(1, 20)) / 8 for _ in range(n)],
        [draw(st.integers(0, 3)) for _ in range(n)],
        [draw(eighths) for _ in range(n * m)],
        # off the grid: a need is never met exactly, where the solver's tolerance would decide
        [draw(eighths) + 1 / 16 for _ in range(m)],
    )


@settings(max_examples=40, deadline=None)
@given(problems())
def test_the_cheapest_choice_is_the_cheapest_of_all_subsets(task):
    found = cheapest_selection(task)
    fitting = [cost for _, cost, short in every_choice(task) if short == 0]
    if not fitting:
        assert found is None
        return
    assert found.cost == pytest.approx(min(fitting))
    assert found.shortfall == 0
    assert found.gap_frac == 0


@settings(max_examples=40, deadline=None)
@given(problems())
def test_the_closest_choice_has_the_least_shortfall_and_then_the_least_cost(task):
    found = closest_selection(task)
    least = min(short for _, _, short in every_choice(task))
    cheapest = min(cost for _, cost, short in every_choice(task) if short <= least + 1e-9)
    assert found.shortfall == pytest.approx(least, abs=1e-4)
    assert found.cost == pytest.approx(cheapest)


def test_choices_that_were_tried_do_not_come_back_and_a_bound_on_cost_holds():
    task = problem([1.0, 2.0, 4.0], [0, 1, 2], [[1.0, 1.0, 1.0]], [0.5])
    assert cheapest_selection(task).chosen == (0,)
    assert cheapest_selection(task, [(0,)]).chosen == (1,)
    assert cheapest_selection(task, [(0,), (1,)]).chosen == (0, 1)
    assert cheapest_selection(task, [(0,)], below_cost=2.0) is None
    assert closest_selection(task, [(0,), ()], below_cost=2.0) is None


def test_one_level_of_a_setting():
    task = problem([1.0, 1.5], [0, 0], [[1.0, 1.5]], [2.0])
    assert cheapest_selection(task) is None
    assert closest_selection(task).chosen == (1,)


def test_nothing_to_choose_from():
    empty = problem([], [], [[]], [-1.0])
    assert cheapest_selection(empty).chosen == ()
    assert cheapest_selection(empty, [()]) is None
    assert cheapest_selection(problem([], [], [[]], [1.0])) is None
    assert closest_selection(empty) is None


def test_shapes_and_costs_are_checked():
    with pytest.raises(InputError, match=r"effects: expected shape \(1, 2\), got \(1, 1\)"):
        Problem(costs=np.ones(2), settings=np.zeros(2), effects=np.ones((1, 1)), needs=np.ones(1))
    with pytest.raises(InputError, match=r"costs: .* got -1 at index \(0,\)"):
        problem([-1.0], [0], [[1.0]], [1.0])


@settings(max_examples=40, deadline=None)
@given(problems(), st.integers(1, 3))
def test_the_cheapest_that_meets_some_needs_is_the_cheapest_of_all_subsets(task, n_met):
    found = cheapest_meeting(task, n_met)
    fitting = []
    for choice, cost, _ in every_choice(task):
        met = task.effects[:, list(choice)].sum(axis=1) >= task.needs
        if met.sum() >= n_met:
            fitting.append(cost)
    assert (found is None) == (not fitting)
    if found is not None:
        assert found.cost == pytest.approx(min(fitting))


def test_no_change_at_all_meets_nothing_more():
    assert cheapest_meeting(problem([], [], [], [0.5]), 1) is None


def test_a_solver_without_time_says_so_instead_of_none(monkeypatch):
    monkeypatch.setattr("linkfit.advice.selection.TIME_LIMIT_S", 0.0)
    rng = np.random.default_rng(3)
    task = problem(rng.uniform(1, 2, 60), np.arange(60), rng.uniform(0, 1, 600), np.full(10, 12.0))
    with pytest.raises(SolveCutShortError, match=r"expected an answer within 0 s, got none"):
        cheapest_selection(task)
