"""Fits against published values, against scipy, and against the truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from linkfit.errors import FitError, InputError
from linkfit.link.estimation import fit_family
from linkfit.link.families import FAMILIES, draw

# lives of 23 ball bearings in millions of revolutions: Lieblein & Zelen, J. Res. NBS 57, 1956
BALL_BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip
TRUTH = {
    "lognormal": (0.6, 3e6),
    "gamma": (2.3, 1.7e6),
    "weibull": (1.4, 2.5e6),
    "log-logistic": (2.5, 4e6),
    "burr12": (2.2, 1.4, 3e6),
    "two lognormals": (0.3, 0.3, 0.5e6, 0.4, 5e6),
}
IN_SCIPY = [name for name in FAMILIES if FAMILIES[name].scipy_name]


def test_weibull_with_censored_lives_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3: 10 failures, 10 units
    # still running at 500 h; shape 1.7208 is a value from memory, scale 606.5280 quoted there
    lives = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    fitted = fit_family("weibull", lives, [500] * 10)
    assert fitted.parameters[0] == pytest.approx(1.7208, abs=1e-4)
    assert fitted.parameters[1] == pytest.approx(606.5280, abs=2e-3)
    assert (fitted.n_values, fitted.n_lower_bounds) == (10, 10)


def test_ball_bearings():
    # values from memory: Weibull 2.10 and 81.9, lognormal 4.150 and 0.522
    shape, scale = fit_family("weibull", BALL_BEARINGS).parameters
    assert (shape, scale) == (pytest.approx(2.10, abs=0.005), pytest.approx(81.9, abs=0.05))
    sigma, median = fit_family("lognormal", BALL_BEARINGS).parameters
    assert (np.log(median), sigma) == (
        pytest.approx(4.150, abs=1e-3),
        pytest.approx(0.522, abs=1e-3),
    )


@pytest.mark.parametrize("name", IN_SCIPY)
def test_no_less_likely_than_scipy_finds(name, rng):
    x = draw(FAMILIES[name], TRUTH[name], 800, rng)
    theirs = getattr(stats, FAMILIES[name].scipy_name)
    parameters = theirs.fit(x / 1e6, floc=0)
    best = theirs.logpdf(x / 1e6, *parameters).sum() - x.size * np.log(1e6)
    assert fit_family(name, x).log_likelihood >= best - 1e-6 * x.size


@pytest.mark.parametrize("name", IN_SCIPY)
def test_censored_no_less_likely_than_the_truth(name, rng):
    x = draw(FAMILIES[name], TRUTH[name], 300, rng) / 1e6
    limit = float(np.quantile(x, 0.7))
    fitted = fit_family(name, x[x < limit], np.full(int(np.sum(x >= limit)), limit))
    truth = (*TRUTH[name][:-1], TRUTH[name][-1] / 1e6)
    theirs = getattr(stats, FAMILIES[name].scipy_name)(*truth[:-1], scale=truth[-1])
    at_truth = theirs.logpdf(x[x < limit]).sum() + np.sum(x >= limit) * theirs.logsf(limit)
    assert fitted.log_likelihood >= at_truth


@pytest.mark.slow
@pytest.mark.parametrize("name", FAMILIES)
def test_recovers_the_truth(name, rng):
    samples = (draw(FAMILIES[name], TRUTH[name], 3000, rng) for _ in range(30))
    estimates = [fit_family(name, sample).parameters for sample in samples]
    logs = np.log(estimates) - np.log(TRUTH[name])
    # bias of maximum likelihood is of order 1/n, far below 5 standard errors of the mean of 30
    error = 5 * logs.std(axis=0, ddof=1) / np.sqrt(30)
    assert (np.abs(np.median(logs, axis=0)) <= np.maximum(error, 0.01)).all()


def test_censoring_is_not_ignored(rng):
    x = draw(FAMILIES["lognormal"], (0.5, 1.0), 2000, rng)
    low, n_high = x[x < 1.2], int(np.sum(x >= 1.2))
    with_bounds = fit_family("lognormal", low, np.full(n_high, 1.2)).parameters
    assert_allclose(with_bounds, (0.5, 1.0), rtol=0.08)
    assert fit_family("lognormal", low).parameters[1] < 0.85  # what ignoring them would say


def test_mixture_with_lower_bounds_keeps_its_upper_part(rng):
    x = draw(FAMILIES["two lognormals"], (0.4, 0.3, 1.0, 0.3, 8.0), 4000, rng)
    fitted = fit_family("two lognormals", x[x < 8.0], np.full(int(np.sum(x >= 8.0)), 8.0))
    assert fitted.quantile(0.8) == pytest.approx(np.quantile(x, 0.8), rel=0.1)


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from(sorted(FAMILIES)),
    st.lists(st.floats(0.1, 50.0), min_size=8, max_size=40),
    st.floats(1e-3, 1e9),
)
def test_a_change_of_unit_changes_scales_only(name, values, unit):
    base, scaled = fit_family(name, values), fit_family(name, np.array(values) * unit)
    q = [0.1, 0.5, 0.9]
    assert_allclose(scaled.quantile(q), base.quantile(q) * unit, rtol=2e-3)


@pytest.mark.parametrize("name", FAMILIES)
def test_equal_values_have_a_law_around_them(name):
    fitted = fit_family(name, np.full(50, 7e6))
    assert_allclose(fitted.quantile([0.05, 0.95]), 7e6, rtol=0.1)


@pytest.mark.parametrize("name", FAMILIES)
def test_many_values_fit_as_their_bins(name, rng):
    x = draw(FAMILIES[name], TRUTH[name], 12_000, rng)
    many = fit_family(name, x)
    assert (
        np.mean(many.log_density(x)) >= np.mean(FAMILIES[name].log_density(x, TRUTH[name])) - 1e-4
    )


def test_one_value_is_too_few_and_a_zero_is_refused():
    with pytest.raises(FitError, match=r"gamma: expected at least 2 values above 0, got 1"):
        fit_family("gamma", [1.0])
    with pytest.raises(InputError, match=r"gamma: expected finite values > 0, got \[0.\]"):
        fit_family("gamma", [1.0, 0.0, 2.0])
