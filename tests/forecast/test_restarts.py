import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from linkfit.errors import InputError
from linkfit.forecast.restarts import (
    best_piece_s,
    expected_time_s,
    expected_wasted_s,
    unbroken_prob,
)

HOUR = 3600.0
RATE = 1 / (6 * HOUR)  # a drop every six hours


@pytest.mark.parametrize(("hours", "prob"), [(1, 0.85), (4, 0.51), (12, 0.14)])
def test_a_drop_each_six_hours_lets_so_many_through(hours, prob):
    # common practice of the trade: the chances people are told
    assert unbroken_prob(hours * HOUR, RATE) == pytest.approx(prob, abs=0.005)


def test_twelve_hours_take_thirty_eight():
    assert expected_time_s(12 * HOUR, RATE) / HOUR == pytest.approx(38, abs=0.5)
    assert expected_wasted_s(12 * HOUR, RATE) / HOUR == pytest.approx(26.3, abs=0.1)


def test_nothing_breaks_and_all_breaks():
    assert unbroken_prob(100.0, 0.0) == 1.0
    assert expected_time_s(100.0, 0.0) == 100.0
    assert expected_time_s(1e6, 1.0) == math.inf


@given(st.floats(1, 1e5), st.floats(1e-7, 1e-3))
def test_the_expected_time_solves_its_renewal_equation(duration_s, rate):
    # E = P T + (1 - P) (mean of a break before T) + (1 - P) E
    prob = unbroken_prob(duration_s, rate)
    broken_s = 1 / rate - duration_s * prob / max(1 - prob, 1e-300)
    expected = duration_s + (1 - prob) / prob * broken_s
    if rate * duration_s > 1e-4:
        assert expected_time_s(duration_s, rate) == pytest.approx(expected, rel=1e-6)


def test_the_best_piece_is_the_minimum_of_what_is_lost():
    found = minimize_scalar(lambda t: 2.0 / t + RATE * t / 2, bounds=(1, 1e4), method="bounded")
    assert best_piece_s(2.0, RATE) == pytest.approx(found.x, rel=1e-3)
    assert best_piece_s(2.0, 0.0) == math.inf


def test_the_best_piece_is_near_that_of_exact_restarts():
    # first order: good while a piece is short against the time between breaks
    def lost(piece_s):
        return expected_time_s(piece_s + 2.0, RATE) / piece_s

    sizes = np.linspace(50, 1000, 500)
    best = sizes[np.argmin([lost(size) for size in sizes])]
    assert best_piece_s(2.0, RATE) == pytest.approx(best, rel=0.05)


def test_bad_numbers_are_named():
    with pytest.raises(InputError, match="duration_s: expected a finite number >= 0, got -1"):
        unbroken_prob(-1.0, 0.0)
    with pytest.raises(InputError, match="overhead_s: expected a finite number > 0, got 0"):
        best_piece_s(0.0, 1.0)
