"""Scores of single forecasts and of groups, on numbers that can be worked out."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import FitError
from linkfit.forecast.backtest_scores import (
    BASELINES,
    NOMINAL_LEVELS,
    compared,
    covered_at,
    joined,
    summarised,
)

EVEN = np.arange(1.0, 102.0)  # quantiles at 0, 0.01, ..., 1


def one_forecast(size_bytes, direction, observed_s, draws_s=EVEN):
    n = observed_s.size
    return compared(size_bytes, direction, np.arange(n), observed_s, draws_s, simple(n))


def simple(n):
    return {name: np.full((n, 1), 51.0) for name in BASELINES}


def test_intervals_and_shares_below_of_even_draws():
    one = one_forecast(1e6, "up", np.array([51.0, 6.0, 5.0, 12.0, 60.0]))
    # 50 %: 26 to 76, 80 %: 11 to 91, 90 %: 6 to 96
    expected = [[1, 1, 1], [0, 0, 1], [0, 0, 0], [0, 1, 1], [1, 1, 1]]
    assert_array_equal(one.covered, np.array(expected, bool))
    assert_allclose(one.pit, np.array([50, 5, 4, 11, 59]) / 101)
    assert one.width_s == pytest.approx(90.0)
    assert_allclose(one.baseline_crps_s[BASELINES[0]], [0, 45, 46, 39, 9])


def test_one_forecast_each_agrees_with_one_for_all():
    observed = np.array([3.0, 50.0, 99.5])
    one = one_forecast(1e6, "up", observed)
    each = one_forecast(1e6, "up", observed, np.tile(EVEN, (3, 1)))
    assert_array_equal(one.covered, each.covered)
    assert_allclose(one.crps_s, each.crps_s)
    assert_allclose(one.pit, each.pit)
    assert one.width_s == pytest.approx(each.width_s)


def test_joined_parts_are_the_whole():
    observed = np.array([3.0, 50.0, 99.5, 20.0])
    whole = one_forecast(1e6, "up", observed)
    parts = [one_forecast(1e6, "up", o) for o in (observed[:1], observed[1:])]
    again = joined(parts, 1e6)
    assert_array_equal(again.covered, whole.covered)
    assert_allclose(again.crps_s, whole.crps_s)
    assert again.width_s == pytest.approx(whole.width_s)


def test_a_summary_pools_what_it_is_given():
    small = [one_forecast(1e5, d, np.array([51.0, 5.0])) for d in ("up", "down")]
    large = [one_forecast(1e6, "up", np.array([51.0]))]
    bounds = np.array([[1e5, 1e5], [1e6, 1e6]])
    score = summarised([small, large], bounds, real_transfers=False)
    assert_array_equal(score.n_transfers, [4, 1])
    assert_allclose(score.coverage_90_frac, [0.5, 1.0])
    expected = np.mean([d.crps_s.mean() for d in small]) / np.mean([0.0, 46.0])
    assert score.crps_ratio[0] == pytest.approx(expected)
    assert score.crps_ratio[1] == 1.0  # a simple forecast without error cannot be beaten


def test_a_forecast_that_never_ends_is_refused():
    with pytest.raises(FitError, match=r"1e\+06 bytes: expected a forecast that ends, .* 50 % of"):
        one_forecast(1e6, "up", np.array([1.0]), np.array([1.0, np.inf]))


def test_even_shares_are_covered_as_promised():
    assert_allclose(covered_at((np.arange(1000) + 0.5) / 1000), NOMINAL_LEVELS, atol=1e-9)
    assert covered_at(np.array([0.5, 0.5])).min() == 1.0
    assert covered_at(np.array([0.0, 1.0])).max() == 0.0
