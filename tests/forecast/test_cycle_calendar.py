"""Billing cycles on the calendar."""

import itertools
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.cycle_calendar import CycleCalendar


@pytest.mark.parametrize(("start", "cycle_day", "begins"), [
    (date(2026, 7, 5), 5, [date(2026, 7, 5), date(2026, 8, 5), date(2026, 9, 5)]),
    (date(2026, 7, 4), 5, [date(2026, 6, 5), date(2026, 7, 5), date(2026, 8, 5)]),
    (date(2026, 1, 31), 31, [date(2026, 1, 31), date(2026, 2, 28), date(2026, 3, 31)]),
    (date(2026, 12, 20), 5, [date(2026, 12, 5), date(2027, 1, 5), date(2027, 2, 5)]),
    (date(2026, 1, 3), 5, [date(2025, 12, 5), date(2026, 1, 5), date(2026, 2, 5)]),
])  # fmt: skip
def test_cycles_begin_on_their_day_of_the_month(start, cycle_day, begins):
    cycles = CycleCalendar(start=start, cycle_day=cycle_day)
    assert [cycles.begin(n) for n in range(3)] == begins
    assert cycles.begins_after_days(1) == (begins[1] - start).days
    assert [cycles.length_days(n) for n in (0, 1)] == [
        (b - a).days for a, b in itertools.pairwise(begins)
    ]


@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(1, 31))
def test_agrees_with_looking_at_each_day(start, cycle_day):
    cycles = CycleCalendar(start=start, cycle_day=cycle_day)
    day = start + timedelta(days=1)
    while day.day != cycle_day and (day + timedelta(days=1)).day != 1:
        day += timedelta(days=1)
    # a month without that day ends its cycle on its last day, or the day comes first
    while day.day != cycle_day and (day + timedelta(days=1)).day == 1 and day.day > cycle_day:
        day += timedelta(days=1)
        while day.day != cycle_day and (day + timedelta(days=1)).day != 1:
            day += timedelta(days=1)
    assert cycles.begin(1) == day
    assert cycles.begin(0) <= start < cycles.begin(1)


def test_days_count_from_the_start():
    cycles = CycleCalendar(start=date(2026, 7, 25), cycle_day=5)
    found = cycles.days_at(np.array([0.0, 1, 2, np.inf, 1e9]), np.array([3.5, 0.5, 1, 0, 0]))
    assert_allclose(found, [3.5, 11.5, 43, np.inf, np.inf])


def test_a_start_late_in_the_day_shortens_the_running_cycle():
    cycles = CycleCalendar(start=date(2026, 7, 25), cycle_day=5, start_h=18.0)
    assert cycles.begins_after_days(0) == 0
    assert cycles.begins_after_days(1) == 10.25
    found = cycles.days_at(np.array([0.0, 1, 2]), np.array([3.5, 0.5, 1]))
    assert_allclose(found, [3.5, 10.75, 42.25])


def test_a_wrong_day_is_shown():
    with pytest.raises(InputError, match="cycle_day: expected 1 to 31, got 32"):
        CycleCalendar(start=date(2026, 1, 1), cycle_day=32)
