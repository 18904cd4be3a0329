"""Compound Poisson sums: against brute force, against scipy, monotone under common draws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from scipy import stats

from linkfit.forecast.compound import compound_bytes, poisson_numbers


@pytest.mark.parametrize("mean", [0.01, 0.5, 3.0, 40.0, 150.0])
def test_inversion_agrees_with_scipy(mean, rng):
    u = rng.random(2000)
    assert_array_equal(poisson_numbers(u, np.full(2000, mean)), stats.poisson.ppf(u, mean))
    assert poisson_numbers(np.array([1 - 2.0**-53]), np.array([mean]))[0] < mean + 150


def brute_force(mean, square_cov, n, rng):
    """Sums with each size drawn by itself."""
    numbers = rng.poisson(mean, n)
    sigma2 = np.log1p(square_cov)
    sizes = np.exp(np.sqrt(sigma2) * rng.standard_normal(numbers.sum()) - sigma2 / 2)
    return np.bincount(np.repeat(np.arange(n), numbers), sizes, minlength=n)


# mean number of terms, geometric standard deviation, tolerance of each quantile
@pytest.mark.slow
@pytest.mark.parametrize(("mean", "spread", "tolerance"), [
    (2.0, 1.6, 0.05), (8.0, 3.0, 0.07), (30.0, 1.3, 0.03), (60.0, 2.0, 0.03),
    (250.0, 3.0, 0.03), (2000.0, 1.6, 0.01), (150.0, 5.0, 0.20),
])  # fmt: skip
def test_quantiles_agree_with_brute_force(mean, spread, tolerance):
    square_cov = np.expm1(np.log(spread) ** 2)
    n = int(2e6 / (mean + 80))
    slow = brute_force(mean, square_cov, n, np.random.default_rng(1))
    fast = compound_bytes(np.full(n, mean), 1.0, square_cov, np.random.default_rng(2))
    levels = [0.05, 0.25, 0.5, 0.75, 0.95]
    expected = np.quantile(slow, levels)
    # a sum of two terms may be 0, where a ratio says nothing: measure against the median
    assert np.abs(np.quantile(fast, levels) - expected).max() < tolerance * max(expected[-1], 1e-9)
    error = slow.std() / np.sqrt(n)
    assert abs(fast.mean() - mean) < 8 * error


@settings(deadline=None)
@given(st.floats(0.05, 90.0), st.floats(0.0, 1.0), st.floats(0.0, 3.0), st.integers(0, 2**32))
def test_fewer_terms_never_sum_to_more(mean, share, square_cov, seed):
    """Draw by draw while the method is the same."""

    def draws(number):
        return compound_bytes(np.full(40, number), 1.0, square_cov, np.random.default_rng(seed))

    same_method = (1 + square_cov <= 0.1 * mean) == (1 + square_cov <= 0.1 * mean * share)
    if same_method:
        assert (draws(mean * share) <= draws(mean) * (1 + 1e-9)).all()


def test_no_terms_sum_to_nothing_and_sizes_scale():
    none = compound_bytes(np.zeros(5), 10.0, 1.0, np.random.default_rng(1))
    assert_array_equal(none, 0.0)
    some = np.array([0.0, 500.0, 900.0])
    one = compound_bytes(some, 10.0, 1.0, np.random.default_rng(1))
    two = compound_bytes(some, 20.0, 1.0, np.random.default_rng(1))
    assert_array_equal(2 * one, two)
    assert one[0] == 0
