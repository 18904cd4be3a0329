import math

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.report.wording import (
    amount,
    between,
    between_chances,
    chance_text,
    flow_direction,
    how_sure,
    quantile_texts,
)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.05, "s", "50 ms"),
        (90.0, "s", "90 s"),
        (3.0, "days", "3.0 days"),
        (0.5, "days", "12 h"),
        (60e9, "bytes", "60.0 GB"),
        (12.0, "users", "12 users"),
        (math.inf, "s", "never"),
        (math.inf, "days", "never"),
        (math.inf, "users", "never"),
    ],
)
def test_amounts_carry_their_unit(value, unit, text):
    assert amount(value, unit) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (3.2, 4.1, "3.2 to 4.1 s"),
        (0.9, 4.1, "900 ms to 4.1 s"),
        (3.0, 3.0, "3.0 s"),
        (3.0, math.inf, "3.0 s to never"),
        (math.inf, math.inf, "never"),
    ],
)
def test_an_interval_says_a_shared_unit_once(low, high, text):
    assert between(low, high, "s") == text


def test_out_is_up_and_in_is_down():
    assert (flow_direction("out"), flow_direction("in")) == ("up", "down")
    with pytest.raises(InputError, match=r"flow: expected 'out' or 'in', got 'up'"):
        flow_direction("up")


def test_quantiles_and_how_sure_they_are():
    slow_and_fast = np.concatenate([np.linspace(1, 2, 50), np.linspace(11, 12, 50)])
    forecast = Forecast(draws=slow_and_fast, unit="s", world=np.repeat([0, 1], 50))
    assert quantile_texts(forecast) == ("1.1 s", "2.0 s", "12 s")
    assert how_sure(forecast, 0.5) == between(*forecast.quantile_interval(0.5), "s")
    assert " to " in how_sure(forecast, 0.5)


def test_no_chance_is_a_certainty():
    assert (chance_text(0.0), chance_text(0.5), chance_text(1.0)) == ("<1 %", "50 %", ">99 %")
    assert between_chances(0.62, 0.71) == "62 to 71 %"
    assert between_chances(0.5, 0.5) == "50 %"
    assert between_chances(0.0, 1.0) == "<1 to >99 %"
