"""The sun that hours rest on, in words."""

from datetime import date

from linkfit.forecast.hours_assumed import hours_assumed, hours_up
from linkfit.site.hours import DayWindow, Hours, Power

SUN = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)
POWER = Power(battery_wh=200, load_w=30, panel_w=100, sun_hours=3.5, sun_hours_by_month=SUN)


def test_the_mean_of_the_year_says_its_spread_and_its_months():
    """3.5 h x 100 W x 0.6 / 30 W = 7 h; years and panels: exp(+-1.645 x 0.18) = 1.35."""
    assert hours_assumed(Hours(power=POWER)) == (
        "hours of power: 7.0 h a day (90 %: 5.2 to 9.4 h), the mean sun of the year, since no "
        "date is given; single months from 2.0 h (january) to 12.0 h (june)"
    )
    plain = Power(battery_wh=200, load_w=30, panel_w=100, sun_hours=3.5)
    text = hours_assumed(Hours(power=plain), date(2026, 1, 5))
    assert text.endswith("the mean sun of the year; winter is below it: give sun_hours by month")


def test_a_date_has_the_sun_of_its_days():
    text = hours_assumed(Hours(power=POWER), date(2026, 1, 22), 20)  # half of it in February
    assert text == (
        "hours of power: 3.0 h a day (90 %: 2.2 to 4.0 h), the sun of 20 days from 2026-01-22 on"
    )


def test_nothing_is_said_where_no_sun_decides():
    assert hours_assumed(Hours()) == ""
    assert hours_assumed(Hours(windows=(DayWindow(start_h=6, end_h=10),))) == ""
    assert hours_assumed(Hours(power=Power(battery_wh=200, load_w=30))) == ""


def test_the_hours_that_verdicts_hold_for():
    assert hours_up(Hours()) == ""
    assert hours_up(Hours(windows=(DayWindow(start_h=6.5, end_h=22),))) == (
        "the server is up for 15.5 h a day: verdicts hold while it is; at other times nothing "
        "answers"
    )
    assert hours_up(Hours(power=POWER)).startswith(
        "the server is up for 7.0 h a day (90 %: 5.2 to 9.4 h): verdicts hold"
    )
