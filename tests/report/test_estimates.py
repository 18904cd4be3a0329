import numpy as np
import pytest

from linkfit.forecast.draws import Forecast
from linkfit.forecast.world_intervals import Estimate
from linkfit.report.estimates import rate_text, rate_texts, share_text, share_texts, spread_text


def estimate(value, low, high):
    return Estimate(value=value, low=low, high=high)


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (estimate(0.9, 0.8, 0.95), "90 % (80 to 95 %)"),
        (estimate(0.5, 0.5, 0.5), "50 %"),
        (estimate(1.0, 0.2, 1.0), ">99 % (20 to >99 %)"),  # no certainty
        (estimate(0.0, 0.0, 0.3), "<1 % (<1 to 30 %)"),
    ],
)
def test_shares(found, expected):
    assert share_text(found) == expected
    assert share_texts(found)[0] == expected.split(" (")[0]


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        (estimate(2e6, 1e6, 3e6), "2.00 Mbit/s (1.00 to 3.00 Mbit/s)"),
        (estimate(2e6, 1e5, 3e6), "2.00 Mbit/s (100 kbit/s to 3.00 Mbit/s)"),
        (estimate(2e6, 0.0, np.inf), "2.00 Mbit/s (0 to no limit)"),
        (estimate(np.inf, 1e6, np.inf), "no limit (1.00 Mbit/s to no limit)"),
    ],
)
def test_rates(found, expected):
    assert rate_text(found) == expected
    assert rate_texts(found)[0] == expected.split(" (")[0]


def test_a_forecast_in_one_text():
    forecast = Forecast(draws=np.arange(1.0, 101.0), unit="s", world=np.zeros(100))
    assert spread_text(forecast) == "50 s (5.0 to 95 s)"
