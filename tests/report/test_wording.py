import math

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.report.wording import amount, between, flow_direction, how_sure, quantile_texts


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
    forecast = Forecast(draws=np.arange(1.0, 101.0), unit="s", world=np.arange(100) % 2)
    assert quantile_texts(forecast) == ("5.0 s", "50 s", "95 s")
    assert how_sure(forecast, 0.5) == "49 to 50 s"
