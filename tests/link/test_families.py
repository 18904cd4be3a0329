"""Laws of the families against scipy.stats, and against themselves."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from linkfit.errors import InputError
from linkfit.link.families import FAMILIES, draw, family, log_survival

PARAMETERS = {
    "lognormal": (0.6, 3.0),
    "gamma": (2.3, 1.7),
    "weibull": (1.4, 2.5),
    "log-logistic": (2.5, 4.0),
    "burr12": (2.2, 1.4, 3.0),
    "two lognormals": (0.3, 0.4, 0.8, 0.6, 5.0),
}
LEVELS = np.array([1e-6, 0.01, 0.3, 0.5, 0.9, 0.999])
X = np.array([1e-3, 0.2, 1.0, 2.7, 9.0, 60.0])


@pytest.mark.parametrize("name", FAMILIES)
def test_quantile_and_probability_are_inverse(name):
    law, p = FAMILIES[name], PARAMETERS[name]
    assert_allclose(law.probability(law.quantile(LEVELS, p), p), LEVELS, rtol=1e-8)


@pytest.mark.parametrize("name", FAMILIES)
def test_density_is_the_slope_of_the_probability(name):
    law, p = FAMILIES[name], PARAMETERS[name]
    h = 1e-5 * X[1:]
    slope = (law.probability(X[1:] + h, p) - law.probability(X[1:] - h, p)) / (2 * h)
    assert_allclose(np.exp(law.log_density(X[1:], p)), slope, rtol=1e-5, atol=1e-12)


@pytest.mark.parametrize("name", [n for n in FAMILIES if FAMILIES[n].scipy_name])
def test_agrees_with_scipy(name):
    law, p = FAMILIES[name], PARAMETERS[name]
    theirs = getattr(stats, law.scipy_name)(*p[:-1], scale=p[-1])
    assert_allclose(law.log_density(X, p), theirs.logpdf(X), rtol=1e-10)
    assert_allclose(law.probability(X, p), theirs.cdf(X), rtol=1e-9)
    assert_allclose(law.quantile(LEVELS, p), theirs.ppf(LEVELS), rtol=1e-9)
    assert_allclose(log_survival(law, X[:-1], p), theirs.logsf(X[:-1]), rtol=1e-7, atol=1e-15)


def test_mixture_is_the_weighted_sum_of_its_parts():
    law, (w, s1, m1, s2, m2) = FAMILIES["two lognormals"], PARAMETERS["two lognormals"]
    parts = stats.lognorm(s1, scale=m1), stats.lognorm(s2, scale=m2)
    density = w * parts[0].pdf(X) + (1 - w) * parts[1].pdf(X)
    assert_allclose(np.exp(law.log_density(X, (w, s1, m1, s2, m2))), density, rtol=1e-10)


def test_draws_follow_the_law(rng):
    law, p = FAMILIES["burr12"], PARAMETERS["burr12"]
    x = draw(law, p, 4000, rng)
    share = np.mean(x <= law.quantile(0.3, p))
    assert share == pytest.approx(0.3, abs=5 * np.sqrt(0.3 * 0.7 / 4000))


def test_an_unknown_family_is_named():
    with pytest.raises(InputError, match=r"family: expected one of lognormal, .* got 'normal'"):
        family("normal")
