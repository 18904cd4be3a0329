import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from linkfit.errors import InputError
from linkfit.link.enough_tests import (
    cells_for,
    cells_without_model,
    is_reached,
    known,
    log_sigma,
    median_ranks,
    need,
    quantile_factor,
)


@pytest.mark.parametrize(
    ("cov", "counts"),
    [
        (0.18, (6, 3, 2)), (0.30, (16, 8, 4)), (0.52, (44, 21, 9)), (0.71, (75, 36, 15)),
        (0.85, (99, 48, 20)),
    ],
)  # fmt: skip
def test_tests_for_20_30_and_50_percent(cov, counts):
    # lognormal, independent tests, 95 %: worked out by an independent calculation
    assert tuple(cells_for(cov, width) for width in (0.2, 0.3, 0.5)) == counts


def test_the_least_of_59_lies_below_the_5th_percentile():
    assert cells_without_model(0.05) == 59  # Wilks 1941, value from memory
    assert cells_without_model(0.01) == 299
    assert 1 - 0.95**59 >= 0.95 > 1 - 0.95**58


@pytest.mark.parametrize(
    ("n", "ranks"),
    [
        (5, None), (6, (1, 6)), (8, (1, 8)), (10, (2, 9)), (20, (6, 15)), (30, (10, 21)),
        (50, (18, 33)), (100, (40, 61)),
    ],
)  # fmt: skip
def test_ranks_around_the_median(n, ranks):
    assert median_ranks(n) == ranks  # tables of Conover and of Le Boudec, values from memory


@given(st.integers(0, 200))
def test_ranks_agree_with_the_binomial_law(n):
    """By counting: the chance that the median lies between two order statistics."""
    ranks = median_ranks(n)
    if ranks is None:
        assert n < 6
        return
    low, high = ranks
    inside = sum(math.comb(n, k) for k in range(low, high)) / 2**n
    assert inside >= 0.95
    assert sum(math.comb(n, k) for k in range(low + 1, high - 1)) / 2**n < 0.95


def test_the_factor_of_the_median_is_that_of_the_textbook():
    assert quantile_factor("median") == pytest.approx(math.sqrt(math.pi / 2))


@pytest.mark.parametrize("of", ["median", "p05"])
def test_the_factor_is_what_sample_quantiles_show(of, rng):
    prob = 0.5 if of == "median" else 0.05
    found = np.quantile(rng.standard_normal((4000, 401)), prob, axis=1).std() * math.sqrt(401)
    # standard error of a standard deviation from 4000: 1 / sqrt(8000) = 1.1 %; and finite n
    assert found == pytest.approx(quantile_factor(of), rel=0.06)


@given(st.floats(0.05, 2.0), st.floats(0.02, 1.0))
def test_narrower_costs_more_and_so_does_a_wilder_link(cov, width):
    assert cells_for(cov, width / 2) >= cells_for(cov, width)
    assert cells_for(cov * 1.5, width) >= cells_for(cov, width)
    assert cells_for(cov, width, of="p05") >= cells_for(cov, width)


def test_with_nothing_measured_the_prior_speaks_with_its_interval():
    wanted = need(np.empty(0), 0.2)
    assert wanted.p05 < wanted.p50 < wanted.p95
    assert cells_for(0.30, 0.2) >= wanted.p05  # both ends of what repeats at one place show
    assert cells_for(0.71, 0.2) <= wanted.p95
    assert known(np.empty(0)) is None
    assert need(np.empty(0), 0.5, of="p05").p05 == 59


def test_many_cells_outweigh_the_prior(rng):
    rates = rng.lognormal(math.log(6e6), log_sigma(0.18), 400)
    found = known(rates)
    assert found.cov == pytest.approx(0.18, rel=0.15)
    wanted = need(rates, 0.2)
    assert wanted.p50 <= 8  # 6 by the table, and what is left of the prior
    assert is_reached(found, wanted, 0.2)


def test_rates_in_other_units_ask_for_the_same(rng):
    rates = rng.lognormal(0, 0.4, 12)
    assert need(rates, 0.2) == need(rates * 8, 0.2)
    assert known(rates * 8).width_frac == pytest.approx(known(rates).width_frac)
    assert known(rates * 8).estimate_bps == pytest.approx(8 * known(rates).estimate_bps)


def test_the_interval_by_ranks_is_that_of_the_ordered_rates():
    found = known(np.arange(1.0, 11.0))
    assert (found.rank_low_bps, found.rank_high_bps) == (2.0, 9.0)
    assert known(np.arange(1.0, 6.0)).rank_low_bps is None


def test_the_5th_percentile_is_not_reached_before_59():
    rates = np.full(58, 6e6) * np.exp(np.linspace(-0.001, 0.001, 58))
    wanted = need(rates, 0.5, of="p05")
    assert not is_reached(known(rates, of="p05"), wanted, 0.5)
    assert is_reached(known(np.append(rates, 6e6), of="p05"), wanted, 0.5)


@pytest.mark.slow
@pytest.mark.parametrize("of", ["median", "p05"])
def test_stopping_when_it_is_reached_keeps_the_interval(of, rng):
    """Sequential: the link's true quantile lies inside when the plan says "reached"."""
    n_runs, width, cov = 300, 0.3, 0.5
    prob = 0.5 if of == "median" else 0.05
    truth = math.exp(stats.norm.ppf(prob) * log_sigma(cov))
    inside = 0
    for _ in range(n_runs):
        rates = rng.lognormal(0, log_sigma(cov), 2)
        while not is_reached(known(rates, of=of), need(rates, width, of=of), width):
            rates = np.append(rates, rng.lognormal(0, log_sigma(cov), 2))
        found = known(rates, of=of)
        inside += found.low_bps <= truth <= found.high_bps
    # 0.95 less 5 standard errors of 300: sqrt(0.95 x 0.05 / 300) = 0.0126
    assert inside / n_runs >= 0.95 - 5 * 0.0126


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: cells_for(0, 0.2), "cov: .* got 0"),
        (lambda: cells_for(0.3, 0), "width: .* got 0"),
        (lambda: quantile_factor("p95"), "of: expected 'median' or 'p05', got 'p95'"),
        (lambda: known(np.array([1.0, 0.0])), "rates_bps: expected finite numbers > 0"),
    ],
)
def test_what_cannot_be_is_named(call, says):
    with pytest.raises(InputError, match=says):
        call()
