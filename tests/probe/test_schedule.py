from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.probe.schedule import TestBudget, cycle_bounds_s, day_start_s, moments_s, n_tests_a_day

DAY_S = 1_781_913_600.0


def hours_of(times):
    return [int((t - DAY_S) // 3600) for t in times]


def test_hours_that_know_least_come_first():
    n_by_hour = [5] * 24
    n_by_hour[3], n_by_hour[17] = 0, 1
    assert hours_of(moments_s(DAY_S, 1, n_by_hour, seed=1)) == [3]
    # hour 3 twice before hour 17 is ever behind it; then both until all are even
    assert sorted(hours_of(moments_s(DAY_S, 9, n_by_hour, seed=1))) == [3] * 5 + [17] * 4


@given(st.integers(0, 96), st.integers(0, 50))
def test_a_day_is_spread_evenly_over_its_hours(n_tests, seed):
    times = moments_s(DAY_S, n_tests, [0] * 24, seed=seed)
    held = [hours_of(times).count(hour) for hour in range(24)]
    assert max(held) - min(held) <= 1
    assert list(times) == sorted(times)
    assert len(times) == n_tests


def test_the_same_seed_keeps_its_moments_and_days_differ():
    assert moments_s(DAY_S, 5, [0] * 24, seed=3) == moments_s(DAY_S, 5, [0] * 24, seed=3)
    other = [t - 86400 for t in moments_s(DAY_S + 86400, 5, [0] * 24, seed=3)]
    assert list(moments_s(DAY_S, 5, [0] * 24, seed=3)) != other


def test_moments_within_an_hour_are_spread_over_it():
    minutes = [
        t % 3600 / 60 for seed in range(200) for t in moments_s(DAY_S, 1, [0] * 24, seed=seed)
    ]
    assert 0 <= min(minutes) < 5
    assert 50 < max(minutes) <= 58
    assert 25 < sum(minutes) / 200 < 33  # mean of an even draw on 0..58 min is 29, se 1.2


def test_the_day_pays_for_what_both_budgets_allow():
    budget = TestBudget(daily_bytes=50e6, cycle_bytes=1e9)
    assert n_tests_a_day(budget, cost_bytes=10e6, left_days=10) == 5  # the day binds
    assert n_tests_a_day(budget, cost_bytes=10e6, left_days=30) == 3  # 1 GB over 30 days binds
    spent = TestBudget(daily_bytes=50e6, cycle_bytes=1e9, spent_cycle_bytes=1.2e9)
    assert n_tests_a_day(spent, cost_bytes=10e6, left_days=30) == 0
    assert spent.left_bytes == 0


def test_what_is_left_is_the_smaller_of_both():
    budget = TestBudget(daily_bytes=50e6, cycle_bytes=1e9, spent_today_bytes=20e6,
                        spent_cycle_bytes=985e6)  # fmt: skip
    assert budget.left_bytes == 15e6
    with pytest.raises(InputError, match="daily_budget: expected a finite number > 0, got 0"):
        TestBudget(daily_bytes=0, cycle_bytes=1)


@pytest.mark.parametrize(
    ("moment", "cycle_day", "begin", "end"),
    [
        ("2026-07-05T00:00", 5, "2026-07-05", "2026-08-05"),
        ("2026-07-04T23:59", 5, "2026-06-05", "2026-07-05"),
        ("2026-03-01T12:00", 31, "2026-02-28", "2026-03-31"),
        ("2026-01-02T12:00", 15, "2025-12-15", "2026-01-15"),
    ],
)
def test_cycles_on_the_calendar(moment, cycle_day, begin, end):
    zone = ZoneInfo("Europe/Lisbon")
    at = datetime.fromisoformat(moment).replace(tzinfo=zone).timestamp()
    bounds = cycle_bounds_s(at, cycle_day, zone)
    found = [datetime.fromtimestamp(b, tz=zone).isoformat()[:16] for b in bounds]
    assert found == [f"{begin}T00:00", f"{end}T00:00"]


def test_a_cycle_day_must_be_one():
    with pytest.raises(InputError, match="cycle_day: expected 1 to 31, got 32"):
        cycle_bounds_s(0.0, 32, UTC)


def test_days_begin_at_midnight_utc():
    assert day_start_s(DAY_S + 86399.9) == DAY_S
