"""Windows of the day: unions, common parts, open time, against a count of minutes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.hours import (
    common_part,
    day_intervals,
    longer,
    open_frac,
    open_hours,
    power_intervals,
    site_intervals,
)
from linkfit.site.hours import DayWindow, Hours, Power

windows_st = st.lists(
    st.tuples(st.integers(0, 48), st.integers(0, 48))
    .filter(lambda pair: pair[0] != pair[1] and {pair[0], pair[1]} != {0, 48})
    .map(lambda pair: DayWindow(start_h=pair[0] / 2, end_h=pair[1] / 2)),
    min_size=1,
    max_size=4,
)
HALF_HOURS = (np.arange(48) + 0.5) / 2


def is_open(windows):
    """Which half hours of the day lie in some window, one by one."""
    marks = np.zeros(48, bool)
    for window in windows:
        a, b = window.start_h, window.end_h
        inside = (a <= HALF_HOURS) & (b > HALF_HOURS)
        marks |= inside if a < b else (a <= HALF_HOURS) | (b > HALF_HOURS)
    return marks


@given(windows_st)
def test_unions_agree_with_a_count_of_half_hours(windows):
    intervals = day_intervals(windows)
    marks = np.array([any(a <= h < b for a, b in intervals) for h in HALF_HOURS])
    assert (marks == is_open(windows)).all()
    assert open_frac(intervals) == pytest.approx(is_open(windows).mean())


@given(windows_st, windows_st)
def test_common_parts_agree_with_a_count(one, other):
    both = common_part(day_intervals(one), day_intervals(other))
    assert open_frac(both) == pytest.approx((is_open(one) & is_open(other)).mean())


@given(windows_st, st.integers(0, 200))
def test_open_hours_agree_with_a_sum(windows, half_hours):
    expected = np.resize(is_open(windows), 400)[:half_hours].sum() / 2
    assert_allclose(open_hours(day_intervals(windows), half_hours / 2), expected)


def test_no_window_is_always_and_nothing_in_common_is_never():
    assert open_frac(day_intervals(())) == 1
    day, night = DayWindow(start_h=8, end_h=20), DayWindow(start_h=20, end_h=8)
    never = common_part(day_intervals([day]), day_intervals([night]))
    assert open_frac(never) == 0
    assert_allclose(open_hours(never, [3.0, 50.0]), 0.0)


@pytest.mark.parametrize("up_h", [0.0, 5.0, 16.0, 20.0, 24.0])
def test_power_hours_keep_their_length(up_h):
    assert open_frac(power_intervals(up_h)) == pytest.approx(up_h / 24)


def test_a_site_is_up_where_windows_and_power_meet():
    power = Power(battery_wh=100, load_w=20, panel_w=100, sun_hours=3.0)  # 9 h from 8 o'clock
    hours = Hours(windows=(DayWindow(start_h=6, end_h=12),), power=power)
    assert site_intervals(hours) == ((8.0, 12.0),)
    assert site_intervals(Hours()) == ((0.0, 24.0),)


@pytest.mark.parametrize(("windows", "extra_h", "expected"), [
    ([(6.5, 22)], 1.0, ((6.5, 23.0),)),
    ([(6.5, 22)], 4.0, ((0.0, 2.0), (6.5, 24.0))),
    ([(23, 5)], 1.0, ((0.0, 6.0), (23.0, 24.0))),  # over midnight: the morning end moves
    ([(6, 8), (20, 22)], 3.0, ((0.0, 1.0), (6.0, 8.0), (20.0, 24.0))),
    ([(1, 23)], 5.0, ((0.0, 24.0),)),
    ([], 1.0, ((0.0, 24.0),)),
])  # fmt: skip
def test_a_day_goes_on_for_longer(windows, extra_h, expected):
    intervals = day_intervals([DayWindow(start_h=a, end_h=b) for a, b in windows])
    assert longer(intervals, extra_h) == expected
    assert longer(intervals, 0.0) == intervals
    assert longer((), extra_h) == ()  # what is never up has no end to put off
