"""Numbers as they stand in records."""

import math

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.report.record_numbers import number, prob, quantiles


def test_four_digits_and_null_for_unknown_and_never():
    assert number(1.234567e9) == 1.235e9
    assert number(None) is None
    assert number(math.inf) is None
    assert prob(1 / 3) == 0.3333
    assert prob(None) is None


def test_quantiles_carry_their_unit_in_the_key():
    draws = Forecast(draws=np.arange(1.0, 101.0), unit="s", world=np.zeros(100, np.int32))
    assert quantiles(draws, "_s") == {"p05_s": 5.0, "p50_s": 50.0, "p95_s": 95.0}
