"""Weekends against other days."""

import numpy as np
import pytest
from scipy.stats import ttest_ind

from linkfit.errors import InputError
from linkfit.link.daily import fit_daily
from linkfit.link.series import MeasuredRuns
from linkfit.link.weekly import (
    UNMEASURED_SIGMA,
    WeeklyPattern,
    fit_weekly,
    unknown_week,
    week_of_days,
)

DAY_S = 86_400
MONDAY = 1_780_272_000  # 2026-06-01 00:00 UTC


def record(rng, n_days, weekend_factor, *, first_day=0, hour=12.0, spread=0.2):
    """One 10 s test a day at one hour."""
    starts = MONDAY + (first_day + np.arange(n_days)) * DAY_S + hour * 3600.0
    is_weekend = (first_day + np.arange(n_days)) % 7 >= 5
    level = 5e6 * np.where(is_weekend, weekend_factor, 1.0)
    level = level * np.exp(spread * rng.standard_normal(n_days))
    return MeasuredRuns(
        rates_bps=np.repeat(level, 10), first=np.arange(n_days + 1) * 10, start_s=starts
    )


def fitted(runs, timezone="UTC"):
    return fit_weekly(runs, fit_daily(runs, timezone))


def test_slow_weekends_are_found(rng):
    week = fitted(record(rng, 56, 0.5))
    assert week.found
    assert (week.n_weekend_days, week.n_weekdays) == (16, 40)
    assert week.factor == pytest.approx(0.5, rel=0.25)
    assert week.factor > 0.5 * 0.9  # drawn towards none
    assert 0 < week.sigma < UNMEASURED_SIGMA


@pytest.mark.slow
def test_no_pattern_is_found_one_time_in_twenty(rng):
    found = sum(fitted(record(rng, 28, 1.0)).found for _ in range(400))
    # binomial(400, 0.05): mean 20, standard deviation 4.4
    assert abs(found - 20) <= 5 * 4.4


def test_none_found_leaves_the_factor_at_one(rng):
    week = fitted(record(rng, 28, 1.0, spread=0.3))
    assert not week.found
    assert week.factor == 1.0
    assert 0 < week.sigma < UNMEASURED_SIGMA


def test_the_verdict_is_that_of_a_t_test(rng):
    # scipy's two-sample t test with one variance is the same rule
    for shift in (0.0, 0.2, 0.4):
        days = rng.standard_normal(20) * 0.2
        is_weekend = np.arange(20) % 7 >= 5
        days[is_weekend] += shift
        p_value = ttest_ind(days[is_weekend], days[~is_weekend]).pvalue
        assert week_of_days(days, is_weekend).found == (p_value < 0.05)


def test_a_case_by_hand():
    # weekend 1, 1.2 and other days 0, 0.2, -0.2: squares 0.02 + 0.08 over 3, times (1/2 + 1/3)
    week = week_of_days(np.array([1.0, 1.2, 0.0, 0.2, -0.2]), np.array([True] * 2 + [False] * 3))
    error2 = 0.1 / 3 * 5 / 6
    kept = 0.0225 / (0.0225 + error2)
    assert week.found
    assert np.log(week.factor) == pytest.approx(kept * 1.1)
    assert week.sigma**2 == pytest.approx(kept * error2)


def test_days_of_one_kind_only_tell_nothing(rng):
    week = fitted(record(rng, 5, 0.5))  # Monday to Friday
    assert (week.n_weekend_days, week.n_weekdays, week.found) == (0, 5, False)
    assert week == unknown_week(0, 5)
    assert not week.tested


def test_local_days_count(rng):
    # Friday 23:00 UTC is Saturday in Tokyo
    week = fitted(record(rng, 1, 1.0, first_day=4, hour=23.0), "Asia/Tokyo")
    assert (week.n_weekend_days, week.n_weekdays) == (1, 0)


def test_a_link_without_clock_has_no_week():
    runs = MeasuredRuns(
        rates_bps=np.full(30, 5e6), first=np.array([0, 30]), start_s=np.array([np.nan])
    )
    assert fitted(runs) == unknown_week()


def test_all_rates_times_two_changes_nothing(rng):
    runs = record(rng, 28, 0.6)
    twice = MeasuredRuns(rates_bps=2 * runs.rates_bps, first=runs.first, start_s=runs.start_s)
    assert fitted(twice).factor == pytest.approx(fitted(runs).factor)


def test_a_bad_factor_is_refused():
    with pytest.raises(InputError, match=r"factor: expected a finite number > 0, got 0"):
        WeeklyPattern(factor=0.0, sigma=0.1, n_weekend_days=2, n_weekdays=3, found=True)
