"""Families told apart and tested; the statistic against published tables.

The goodness of fit is a Kolmogorov distance with a bootstrap that respects fitted parameters and
dependence. Nothing computes the statistic of Anderson and Darling, so no table of it is tested.
"""

import numpy as np
import pytest
from scipy import stats

from linkfit.link.estimation import FittedFamily
from linkfit.link.families import FAMILIES, draw
from linkfit.link.marginal_fit import (
    find_outages,
    fit_marginal,
    fit_p_value,
    kolmogorov_distance,
    score_families,
    smoothed_quantiles,
)
from linkfit.link.series import MeasuredRuns

NONE = np.empty(0)


def make_runs(rates, first=None):
    first = [0, len(rates)] if first is None else first
    return MeasuredRuns(
        rates_bps=np.asarray(rates, float), first=np.array(first), start_s=np.zeros(len(first) - 1)
    )


def test_outages_are_counted_inside_runs():
    outages = find_outages(make_runs([5, 0, 0, 5, 0, 0, 5, 5], [0, 5, 8]))
    assert (outages.n_outages, outages.longest_s) == (3, 2.0)  # the gap ends the second one
    assert outages.share_frac == 0.5
    assert outages.mean_s == pytest.approx(4 / 3)
    assert outages.mean_up_s == pytest.approx(4 / 3)


def test_a_trickle_is_an_outage_and_none_is_none():
    assert find_outages(make_runs([1e6, 1e6, 9e3, 1e6])).n_outages == 1
    none = find_outages(make_runs([1e6, 2e6]))
    assert (none.n_outages, none.share_frac, none.mean_up_s) == (0, 0.0, 2.0)
    assert find_outages(make_runs([0, 0, 0])).share_frac == 1.0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "parameters"),
    [
        ("lognormal", (1.0, 3e6)),
        ("gamma", (2.0, 1e6)),
        ("two lognormals", (0.4, 0.3, 4e5, 0.3, 6e6)),
    ],
)
def test_the_true_family_is_found_by_held_out_score(name, parameters, rng):
    scored = score_families(draw(FAMILIES[name], parameters, 3000, rng), NONE)
    assert scored[0].name == name
    assert len(scored) == len(FAMILIES)


@pytest.mark.slow
def test_p_value_keeps_its_level_under_dependence(rng):
    """Dependent data of the right family must not be rejected more often than promised."""
    p_values = []
    for _ in range(25):
        noise = rng.standard_normal(400)
        z = noise.copy()
        for i in range(1, 400):
            z[i] = 0.8 * z[i - 1] + 0.6 * noise[i]
        p_values.append(fit_p_value(np.exp(0.5 * z + 14), "lognormal", rng))
    # at the 5 % level 25 samples give more than 6 rejections with a chance of about 1e-4
    assert sum(p < 0.05 for p in p_values) <= 6
    assert np.median(p_values) > 0.15


def test_a_family_that_does_not_fit_is_said_not_to_fit(rng):
    rates = np.where(rng.random(600) < 0.5, rng.normal(1e6, 2e4, 600), rng.normal(9e6, 2e5, 600))
    assert fit_p_value(rates, "gamma", rng) < 0.05


def test_marginal_of_a_mixture_with_outages(rng):
    rates = draw(FAMILIES["lognormal"], (0.5, 3e6), 500, rng)
    rates[::10] = 0.0
    marginal = fit_marginal(make_runs(rates), NONE, rng)
    assert marginal.outages.share_frac == pytest.approx(0.1)
    assert marginal.quantile([0.05])[0] == 0.0  # zero-rate mass is kept
    assert marginal.quantile(0.55) == pytest.approx(3e6, rel=0.1)
    assert marginal.best is not None
    assert marginal.best.log_score >= marginal.families[-1].log_score


def test_too_few_or_equal_seconds_name_no_family(rng):
    for rates in ([5e6] * 100, [1e6, 2e6, 3e6], [0.0] * 30):
        marginal = fit_marginal(make_runs(rates), NONE, rng)
        assert marginal.families == ()
        assert not marginal.fits
        assert np.isfinite(marginal.quantile([0.05, 0.5, 0.95])).all()


def test_smoothed_quantiles_do_not_fall_and_keep_the_ends(rng):
    values = rng.gamma(2.0, 1.0, 37)
    q = smoothed_quantiles(values)
    assert (np.diff(q) >= 0).all()
    assert (q[0], q[-1]) == (values.min(), values.max())


KNOWN = FittedFamily(name="lognormal", parameters=(0.8, 3e6), log_likelihood=0.0, n_values=10)
# Two-sided critical values, all parameters known: L. H. Miller, "Table of percentage points of
# Kolmogorov statistics", JASA 51, 1956, as transcribed in open code. Left out on purpose: that
# copy's value for n = 10 at 2 % has a wrong digit, and its 20 % column is an approximation.
MILLER = {
    (10, 0.10): 0.36866, (10, 0.05): 0.40925, (11, 0.10): 0.35242, (11, 0.05): 0.39122,
    (20, 0.10): 0.26473, (20, 0.05): 0.29408, (20, 0.02): 0.32866,
}  # fmt: skip
ASYMPTOTIC = {0.10: 1.2238, 0.05: 1.3581, 0.01: 1.6276}  # of sqrt(n) D, same source


def test_the_distance_is_that_of_scipy(rng):
    for n in (2, 10, 20, 500):
        x = draw(KNOWN.law, (1.0, 2e6), n, rng)
        expected = stats.kstest(x, KNOWN.probability).statistic
        assert kolmogorov_distance(x, KNOWN) == pytest.approx(expected, abs=1e-12)


def test_the_distance_by_hand():
    # a value at each middle of ten tenths: 1/20 everywhere; all at one end: the whole rest
    middles = KNOWN.quantile((np.arange(10) + 0.5) / 10)
    assert kolmogorov_distance(middles, KNOWN) == pytest.approx(0.05)
    assert kolmogorov_distance(np.full(4, KNOWN.quantile(0.25)), KNOWN) == pytest.approx(0.75)


def test_miller_and_scipy_print_the_same_critical_values():
    for (n, level), critical in MILLER.items():
        assert stats.kstwo.isf(level, n) == pytest.approx(critical, abs=6e-6)
    for level, critical in ASYMPTOTIC.items():
        assert stats.kstwobign.isf(level) == pytest.approx(critical, abs=6e-5)


@pytest.mark.slow
@pytest.mark.parametrize("n", [10, 11, 20, 1000])
def test_the_published_critical_values_are_exceeded_as_often_as_they_say(rng, n):
    repeats = 6000 if n < 100 else 2500
    found = [kolmogorov_distance(draw(KNOWN.law, KNOWN.parameters, n, rng), KNOWN)
             for _ in range(repeats)]  # fmt: skip
    table = {level: critical for (size, level), critical in MILLER.items() if size == n}
    if n == 1000:
        table = {level: critical / np.sqrt(n) for level, critical in ASYMPTOTIC.items()}
    for level, critical in table.items():
        error = np.sqrt(level * (1 - level) / repeats)
        assert np.mean(np.array(found) > critical) == pytest.approx(level, abs=4 * error)
