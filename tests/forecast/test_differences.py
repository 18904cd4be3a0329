from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.differences import difference_of, judged


def difference(first_values, second_values, values=(1.0, 2.0)):
    return difference_of(
        "median", "s", values, np.asarray(first_values, float), np.asarray(second_values, float)
    )


def test_a_case_counted_by_hand():
    found = difference([1, 2, 3, 4], [5, 5, 2, 5])  # differences 4, 3, -1, 1
    assert found.value == 1
    assert (found.low, found.high) == (-1, 4)
    assert found.prob_more == 0.75
    assert found.p_value == pytest.approx(2 * (1 + 1) / 5)


def test_equal_pairs_count_half_and_never_twice_is_no_difference():
    found = difference([np.inf, np.inf, 1], [np.inf, np.inf, 1], (np.inf, np.inf))
    assert (found.value, found.low, found.high) == (0, 0, 0)
    assert (found.prob_more, found.p_value) == (0.5, 1)


def test_one_that_never_ends_is_an_endless_difference():
    found = difference([1, 1], [np.inf, np.inf], (1.0, np.inf))
    assert found.value == np.inf
    assert found.prob_more == 1


def test_the_interval_holds_the_value():
    found = difference([1, 1], [1, 1], (1.0, 9.0))
    assert found.low <= found.value <= found.high


def test_draws_of_two_shapes_are_refused():
    with pytest.raises(InputError, match=r"median: expected draws of one shape, got \(1,\)"):
        difference([1], [1, 2])


def with_p(*p_values):
    base = difference([1, 2], [2, 3])
    from dataclasses import replace

    return [replace(base, p_value=p) for p in p_values]


@pytest.mark.parametrize(
    ("p_values", "real"),
    [
        ((0.04, 0.045), (True, True)),  # the largest is below 0.05: all are
        ((0.03, 0.2), (False, False)),  # 0.03 is above 0.05 / 2
        ((0.2, 0.02), (False, True)),
        ((0.01, 0.04, 0.5), (True, False, False)),  # 0.04 > 0.05 / 2, 0.01 < 0.05 / 3
        ((), ()),
    ],
)
def test_steps_worked_by_hand(p_values, real):
    assert tuple(one.real for one in judged(with_p(*p_values))) == real


@given(st.lists(st.floats(1e-4, 1), min_size=1, max_size=8))
def test_what_is_real_has_the_smallest_p_values(p_values):
    found = sorted(judged(with_p(*p_values)), key=lambda one: one.p_value)
    assert all(a.real or not b.real for a, b in pairwise(found))
    assert all(one.p_value <= 0.05 for one in found if one.real)
    # never fewer than plain Bonferroni
    assert all(one.real for one in found if one.p_value <= 0.05 / len(found))
