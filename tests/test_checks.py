"""Checks name the argument and show the value."""

import numpy as np
import pytest

from linkfit import _checks
from linkfit.errors import InputError


@pytest.mark.parametrize("value", [0, -1.0, float("inf"), float("nan"), True, "3"])
def test_positive_refuses_what_is_not_a_finite_number_above_0(value):
    with pytest.raises(InputError, match=r"rate: expected a finite number > 0, got "):
        _checks.positive("rate", value)


def test_the_value_is_shown_without_its_numpy_type():
    with pytest.raises(InputError, match=r"got -1$"):
        _checks.non_negative("gap", np.float64(-1.0))


@pytest.mark.parametrize(("value", "shown"), [(1.5, "1.5"), (-0.1, "-0.1"), ("x", "'x'")])
def test_fraction_shows_what_it_got(value, shown):
    with pytest.raises(InputError, match=rf"share: expected a number from 0 to 1, got {shown}"):
        _checks.fraction("share", value)


@pytest.mark.parametrize("value", [0, 2.5, True, None, float("nan")])
def test_count_takes_whole_numbers_only(value):
    with pytest.raises(InputError, match=r"users: expected a whole number >= 1, got "):
        _checks.count("users", value)


def test_count_returns_an_int():
    assert _checks.count("users", np.float64(3.0)) == 3
    assert isinstance(_checks.count("users", 3.0), int)


def test_one_of_names_the_choices():
    with pytest.raises(InputError, match=r"flow: expected 'out' or 'in', got 'up'"):
        _checks.one_of("flow", "up", ("out", "in"))


def test_an_array_names_the_first_wrong_value():
    with pytest.raises(InputError, match=r"rates: .* got -2 at index \(1, 0\)"):
        _checks.non_negative_array("rates", [[1, 2], [-2, 3]])


def test_a_frozen_array_cannot_be_written():
    frozen = _checks.frozen_array(np.ones(3))
    with pytest.raises(ValueError, match="read-only"):
        frozen[0] = 2
