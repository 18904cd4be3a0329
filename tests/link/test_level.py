import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from linkfit.errors import InputError
from linkfit.link.level import EPOCH_S, LevelSpread, level_spread, student_4


def total(spread):
    return np.hypot(spread.unknown_sigma, spread.chance_sigma)


def test_student_quantiles_agree_with_scipy():
    prob = np.array([1e-6, 0.01, 0.3, 0.5, 0.77, 0.999])
    assert_allclose(student_4(prob), stats.t(4).ppf(prob) / np.sqrt(2), rtol=1e-8, atol=1e-12)


def test_more_measurement_leaves_less_unknown():
    spreads = [total(level_spread(seconds, 0.5)) for seconds in (10, 60, 600, 6000, 60_000)]
    assert (np.diff(spreads) < 0).all()
    assert spreads[-1] < 0.05


def test_one_speed_test_is_as_wide_as_repeats_at_one_place():
    # coefficients of variation of 0.30 (5G, median) to 0.71 (LTE, upper quartile) between repeats
    # at one place; two tests differ by sqrt(2) times that
    low, high = (np.sqrt(2 * np.log1p(cov**2)) for cov in (0.30, 0.71))
    assert low < total(level_spread(10.0, 0.0)) < high


def test_a_wilder_link_is_less_sure():
    assert total(level_spread(600, 1.0)) > total(level_spread(600, 0.2))


def test_sessions_that_differ_leave_a_third_unsure():
    alike, apart = np.array([5e6, 5.1e6, 4.9e6]), np.array([2e6, 5e6, 9e6])
    one_stretch = total(level_spread(6000, 0.4))
    assert total(level_spread(6000, 0.4, session_means_bps=apart[:1])) == one_stretch
    assert total(level_spread(6000, 0.4, session_means_bps=apart)) > total(
        level_spread(6000, 0.4, session_means_bps=alike)
    )
    # two evenings at one rate do not promise a third: the prior stands behind them
    two = total(level_spread(6000, 0.4, session_means_bps=alike[:2]))
    assert two**2 - one_stretch**2 > 0.05
    many = np.tile(alike, 200)
    assert total(level_spread(6000, 0.4, session_means_bps=many)) == pytest.approx(one_stretch)


def test_a_session_without_service_has_no_logarithm():
    means = np.array([0.0, 5e6])
    assert np.isfinite(total(level_spread(600, 0.4, session_means_bps=means)))


def test_a_session_of_outage_does_not_widen_without_end():
    means = np.array([5e6, 5e6, 5e6, 1.0])
    assert total(level_spread(600, 0.4, session_means_bps=means)) < 0.6


def test_looks_that_are_alike_count_as_fewer():
    spreads = [total(level_spread(600, 0.4, n_apart=n)) for n in (1, 5, 25)]
    assert (np.diff(spreads) < 0).all()


def test_world_factors_have_median_one_and_the_asked_spread(rng):
    spread = LevelSpread(unknown_sigma=0.3, chance_sigma=0.2)
    logs = np.log(spread.world_factors(2001, rng))
    assert np.median(logs) == pytest.approx(0.0, abs=1e-12)
    assert logs.std() == pytest.approx(0.3, rel=0.05)
    logs = np.log(spread.epoch_factors(3000, EPOCH_S * 2.5, rng))
    assert logs.shape == (3000, 3)
    assert logs.std() == pytest.approx(0.2, abs=5 * 0.2 / np.sqrt(2 * 9000))


def test_bad_numbers_are_named():
    with pytest.raises(InputError, match=r"measured_s: expected a finite number > 0, got 0"):
        level_spread(0.0, 0.5)
    with pytest.raises(InputError, match=r"chance_sigma: expected .* got -1"):
        LevelSpread(unknown_sigma=0.1, chance_sigma=-1.0)
