import numpy as np
import pytest
from arch.bootstrap import optimal_block_length
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.link.dependence import (
    autocorrelation,
    lag1_inside_runs,
    optimal_block_lengths,
    stationary_index,
    variance_of_averages,
)


def autoregression(phi, n, random, burn_in=0):
    noise = random.standard_normal(n + burn_in)
    series = noise.copy()
    for i in range(1, series.size):
        series[i] = phi * series[i - 1] + noise[i]
    return series[burn_in:]


def test_block_length_of_a_published_case():
    # the test suite of `arch` states 13.635665 and 15.60894 for this series
    series = autoregression(0.3, 10_000, np.random.RandomState(0), burn_in=100)
    stationary, circular = optimal_block_lengths(series)
    assert stationary == pytest.approx(13.635665, abs=1e-6)
    assert circular == pytest.approx(15.60894, abs=1e-5)


@pytest.mark.parametrize(("phi", "n"), [(0.9, 300), (0.0, 200), (0.6, 50), (0.98, 1000), (0.5, 64)])
def test_block_length_agrees_with_arch(phi, n):
    series = autoregression(phi, n, np.random.default_rng(n))
    assert_allclose(optimal_block_lengths(series), optimal_block_length(series).to_numpy()[0])


def test_block_length_of_a_constant_is_one_and_few_values_are_refused():
    assert optimal_block_lengths(np.full(40, 3e6)) == (1.0, 1.0)
    with pytest.raises(InputError, match=r"values: expected at least 8, got 7"):
        optimal_block_lengths(np.arange(7))


def test_lag_one_correlations_of_nist_data():
    # NIST StRD univariate summary statistics, NumAcc1 to NumAcc4: lag-1 -0.5 and -0.999
    assert_allclose(autocorrelation([10000001, 10000003, 10000002], 1)[1], -0.5)
    hard = np.concatenate(([1.2], np.tile([1.1, 1.3], 500)))
    assert_allclose(autocorrelation(hard, 1)[1], -0.999, rtol=1e-9)
    assert_allclose(autocorrelation(hard + 1e6 - 1, 1)[1], -0.999, rtol=1e-8)


@given(st.lists(st.floats(-100, 100), min_size=3, max_size=40))
def test_autocorrelation_agrees_with_the_plain_sum(values):
    x = np.array(values) - np.mean(values)
    if x @ x < 1e-6:
        return
    expected = [x[: x.size - lag] @ x[lag:] / (x @ x) for lag in range(3)]
    assert_allclose(autocorrelation(values, 2), expected, atol=1e-9)


def test_autocorrelation_of_a_constant_is_none():
    assert autocorrelation([5e6] * 9, 3).tolist() == [1, 0, 0, 0]


def test_lag1_leaves_out_pairs_across_a_gap():
    values = np.array([1.0, 1.0, -1.0, -1.0])
    assert lag1_inside_runs(values, np.array([0, 2, 4])) == pytest.approx(1.0)
    assert lag1_inside_runs(values, np.array([0, 4])) == pytest.approx(1 / 3)
    assert lag1_inside_runs(values, np.array([0, 1, 2, 3, 4])) == 0.0


@settings(max_examples=30)
@given(st.integers(1, 200), st.floats(1, 50), st.integers(0, 99))
def test_bootstrap_indices_stay_inside_and_go_on_by_one(n, mean_block, seed):
    rng = np.random.default_rng(seed)
    index = stationary_index(n, mean_block, rng)
    assert index.shape == (n,)
    assert (index >= 0).all()
    assert (index < n).all()


def test_stationary_blocks_have_their_mean_length(rng):
    index = stationary_index(50_000, 20.0, rng)
    n_blocks = 1 + np.sum(np.diff(index) % 50_000 != 1)
    assert 50_000 / n_blocks == pytest.approx(20.0, abs=5 * 20.0 / np.sqrt(2500))


@pytest.mark.slow
def test_block_bootstrap_finds_the_standard_error_of_a_dependent_mean(rng):
    # AR(1) with phi 0.9: the variance of the mean of n is 1 / (n (1 - phi)^2); 100 / n here
    n = 20_000
    series = autoregression(0.9, n, rng)
    length = optimal_block_lengths(series)[0]
    means = [series[stationary_index(n, length, rng)].mean() for _ in range(300)]
    assert np.std(means) == pytest.approx(np.sqrt(100 / n), rel=0.35)  # downward bias is known


def test_variance_of_averages_by_hand_and_inside_runs():
    rates = np.array([1.0, 3.0, 5.0, 7.0])
    one, two, five = variance_of_averages(rates, np.array([0, 4]), (1, 2, 5))
    assert one == pytest.approx(5.0)
    assert two == pytest.approx(((2 - 4) ** 2 + 0 + (6 - 4) ** 2) / 3)
    assert np.isnan(five)
    assert variance_of_averages(rates, np.array([0, 2, 4]), (2,))[0] == pytest.approx(4.0)


def test_lag1_of_a_constant_is_none():
    assert lag1_inside_runs(np.full(10, 56.123e6), np.array([0, 10])) == 0.0
