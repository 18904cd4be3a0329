import numpy as np
import pytest
import scoringrules
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.scores import coverage_frac, crps, pinball

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


@given(numbers, numbers, st.floats(0.01, 0.99))
def test_pinball_agrees_with_scoringrules(forecast, observed, level):
    expected = scoringrules.quantile_score(observed, forecast, level)
    assert_allclose(pinball(forecast, observed, level), expected, rtol=1e-9, atol=1e-9)


def test_twice_the_mean_pinball_loss_over_levels_is_the_crps(rng):
    draws = np.sort(rng.lognormal(0.0, 1.0, 400))
    levels = (np.arange(400) + 0.5) / 400
    y = 1.7
    total = 2 * np.mean(
        [float(pinball(q, y, level)) for q, level in zip(draws, levels, strict=True)]
    )
    assert_allclose(crps(draws, [y]), [total], rtol=1e-9)


def test_coverage_counts_the_ends():
    assert coverage_frac([0, 0, 0, 0], [1, 1, 1, 1], [0, 1, 0.5, 2]) == 0.75
