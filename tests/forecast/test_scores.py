import numpy as np
import pytest
import scoringrules
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.scores import crps

numbers = st.floats(-1e6, 1e6)


@given(st.lists(numbers, min_size=1, max_size=30), st.lists(numbers, min_size=1, max_size=9))
def test_crps_agrees_with_the_double_sum(draws, observed):
    x = np.array(draws)
    expected = [
        np.mean(np.abs(x - y)) - 0.5 * np.mean(np.abs(x[:, None] - x[None, :])) for y in observed
    ]
    assert_allclose(crps(draws, observed), expected, atol=1e-7)  # sums reach 1e8


def test_crps_agrees_with_scoringrules(rng):
    draws, observed = rng.gamma(2.0, 3.0, (40, 200)), rng.gamma(2.0, 3.0, 40)
    expected = scoringrules.crps_ensemble(observed, draws, estimator="nrg")
    assert_allclose(crps(draws, observed), expected, rtol=1e-12)
    assert_allclose(crps(draws[0], observed[:1]), expected[:1], rtol=1e-12)


@pytest.mark.parametrize(("z", "expected"), [(0.0, 0.2336949773), (1.0, 0.6024413576)])
def test_crps_of_a_normal_law_in_closed_form(z, expected):
    # Gneiting, Raftery, Westveld & Goldman 2005, Mon. Wea. Rev. 133, eq. 5: at z = 0 the value
    # is (sqrt(2) - 1) / sqrt(pi); z = 1 by quadrature
    from scipy.special import ndtri

    n = 20_000
    draws = ndtri((np.arange(n) + 0.5) / n)
    assert_allclose(crps(draws, [z]), [expected], atol=2e-5)  # error of the midpoint grid


def test_crps_of_certainty_is_the_absolute_error():
    assert_allclose(crps([3.0, 3.0], [1.0, 3.0, 7.5]), [2.0, 0.0, 4.5])


def test_crps_refuses_a_forecast_of_never():
    with pytest.raises(InputError, match=r"draws: expected finite .* got inf or NaN"):
        crps([1.0, np.inf], [2.0])
    with pytest.raises(InputError, match=r"expected shape \(d,\) or \(1, d\), got \(2, 1\)"):
        crps([[1.0], [2.0]], [2.0])


def test_twice_the_mean_pinball_loss_over_levels_is_the_crps(rng):
    # R. Koenker, G. Bassett, "Regression quantiles", Econometrica 46(1), 33-50, 1978: the loss of
    # one quantile, here by a reference library
    draws = np.sort(rng.lognormal(0.0, 1.0, 400))
    levels = (np.arange(400) + 0.5) / 400
    total = 2 * np.mean(scoringrules.quantile_score(1.7, draws, levels))
    assert_allclose(crps(draws, [1.7]), [total], rtol=1e-9)
