import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast.draws import Forecast
from linkfit.forecast.world_intervals import Estimate
from linkfit.report.page.rounding import (
    digits_for,
    interval,
    late_end,
    said,
    share_range,
    spread,
    stated,
    with_interval,
)


@pytest.mark.parametrize(("value", "low", "high", "digits"), [
    (5.887, 5.2, 7.4, 2),  # doubt of 1: the first decimal is as far as it goes
    (5.887, 5.86, 5.91, 3),  # doubt of 0.03
    (5.887, 5.8869, 5.8871, 3),  # never more than three
    (20.0, 2.0, 200.0, 2),  # never fewer than two
    (math.inf, 1.0, math.inf, 2),
    (5.0, 5.0, 5.0, 3),
])  # fmt: skip
def test_digits_follow_the_interval(value, low, high, digits):
    assert digits_for(value, low, high) == digits


@given(st.floats(1e-3, 1e9), st.floats(0.01, 0.9))
def test_a_wider_interval_never_asks_for_more_digits(value, share):
    narrow = digits_for(value, value * (1 - share / 10), value * (1 + share / 10))
    assert digits_for(value, value * (1 - share), value * (1 + share)) <= narrow


@pytest.mark.parametrize(("value", "unit", "text"), [
    (0.0712, "s", "71 ms"), (93.0, "s", "93 s"), (5400.0, "s", "90 min"), (5.4, "days", "5.4 days"),
    (0.5, "days", "12 h"), (88.8e9, "bytes", "89 GB"), (2.2e6, "bit/s", "2.2 Mbit/s"),
    (0.0, "bit/s", "0 bit/s"), (math.inf, "s", "never"), (12.3, "money", "12 money"),
])  # fmt: skip
def test_units_switch_as_a_person_would(value, unit, text):
    assert said(value, unit) == text


def test_an_interval_says_a_shared_unit_once():
    assert interval(5.2, 7.4, "s") == "5.2 to 7.4 s"
    assert interval(39.0, 150.0, "s") == "39 s to 2.5 min"
    assert interval(5.0, 5.0, "s") == "5.0 s"


def test_a_value_with_its_interval():
    assert with_interval(5.887, 5.2, 7.41, "s") == "5.9 s (5.2 to 7.4 s)"
    assert with_interval(5.0, 5.0, 5.0, "s") == "5.00 s"


def test_a_forecast_tells_its_median_and_its_late_end():
    draws = np.tile(np.arange(1.0, 101.0), 2)
    forecast = Forecast(draws=draws, unit="s", world=np.repeat([0, 1], 100).astype(np.int32))
    assert spread(forecast) == "50 s (5.0 to 95 s)"
    assert late_end(forecast).startswith("95")


def test_what_somebody_stated_has_no_digits_of_its_own():
    assert stated(60e9, "bytes") == "60 GB"
    assert stated(1.25e9, "bytes") == "1.25 GB"
    assert stated(0.25, "s") == "250 ms"
    assert stated(4.0, "s") == "4 s"


def test_headroom_has_no_more_digits_than_its_interval():
    assert with_interval(10.46, 7.31, 14.93, "times") == "10 times (7.3 to 15 times)"


def test_what_all_futures_do_is_no_certainty():
    assert share_range(Estimate(value=1.0, low=1.0, high=1.0)) == ">99 %"
    assert share_range(Estimate(value=0.8, low=0.71, high=0.88)) == "80 % (71 to 88 %)"


def test_nothing_reaches_below_nothing():
    assert with_interval(1.8e6, -2e5, 2.7e6, "bit/s") == "1.8 Mbit/s (0 to 2.7 Mbit/s)"


def test_plain_units_have_no_exponent():
    assert said(120.0, "EUR") == "120 EUR"
    assert said(123456.0, "EUR", 3) == "123000 EUR"
    assert said(0.042, "EUR") == "0.042 EUR"
