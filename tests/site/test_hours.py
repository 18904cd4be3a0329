"""Windows of the day, battery and panel check themselves."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.site.hours import DayWindow, Hours, Power

MINUTES = st.integers(0, 24 * 60).map(lambda minute: minute / 60)  # as a site file writes them


@given(MINUTES, MINUTES)
def test_a_window_and_its_complement_fill_the_day(start, end):
    if start == end:
        return
    window, rest = DayWindow(start_h=start, end_h=end), DayWindow(start_h=end, end_h=start)
    if {start, end} == {0, 24}:
        assert window.length_h == 24
    else:
        assert window.length_h + rest.length_h == pytest.approx(24)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: DayWindow(start_h=1, end_h=25), "end_h: expected an hour from 0 to 24, got 25"),
        (lambda: DayWindow(start_h=1, end_h=1), "hours: expected a start apart from the end"),
        (lambda: Power(battery_wh=1, load_w=0), "load: expected a finite number > 0, got 0"),
    ],
)
def test_wrong_values_are_named_and_shown(make, message):
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(("make", "message"), [
    (lambda: Power(battery_wh=1, load_w=5, load_busy_w=4), "load_busy: expected at least the load"),
    (lambda: Power(battery_wh=1, load_w=5, output_frac=0), "output_frac: expected .* > 0, got 0"),
    (lambda: Power(battery_wh=1, load_w=5, sun_hours_by_month=(1.0,) * 11), "12 numbers .* got 11"),
    (lambda: Power(battery_wh=1, load_w=5, sun_hours_by_month=(-1.0,) * 12), "by_month: .* got -1"),
])  # fmt: skip
def test_a_battery_and_panel_that_cannot_be(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_sun_of_a_month_or_of_the_year():
    flat = Power(battery_wh=1, load_w=1, sun_hours=3.5)
    assert flat.sun_hours_in(12) == flat.sun_hours_in(None) == 3.5
    monthly = Power(battery_wh=1, load_w=1, sun_hours=2.0, sun_hours_by_month=tuple(range(12)))
    assert (monthly.sun_hours_in(1), monthly.sun_hours_in(12)) == (0, 11)
    assert monthly.sun_hours_in(None) == 2.0


def test_the_sun_of_some_days_is_that_of_their_months():
    sun = tuple(float(month) for month in range(1, 13))
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=6.5, sun_hours_by_month=sun)
    found = Hours(power=power).on(date(2026, 6, 25), 31).power  # 6 days of June, 25 of July
    assert found.sun_hours == pytest.approx((6 * 6 + 25 * 7) / 31)
    assert found.sun_hours_in(1) == found.sun_hours
    plain = Hours(power=replace(power, sun_hours_by_month=()))
    assert plain.on(date(2026, 6, 25), 31) is plain
    assert Hours().on(date(2026, 6, 25), 31) == Hours()
