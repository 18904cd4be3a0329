"""Hours of power: energy arithmetic, common practice, and what a battery can not do."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import InputError
from linkfit.forecast.power import (
    has_sun,
    hours_by_day,
    hours_under,
    powered_hours,
    stored_wh,
    sun_factors,
    sun_wh,
    sustained_hours_per_day,
    up_hours_per_day,
)
from linkfit.site.hours import Power

powers = st.builds(
    Power,
    battery_wh=st.floats(0, 5000), load_w=st.floats(1, 300), panel_w=st.floats(0, 800),
    sun_hours=st.floats(0, 8), usable_frac=st.floats(0, 1), yield_frac=st.floats(0, 1),
)  # fmt: skip


# common practice: a 400 Wh station runs 14 W for about 28 h and 100 W for about 3.8 h
@pytest.mark.parametrize(("load_w", "about_h"), [(14.0, 28.0), (100.0, 3.8)])
def test_a_power_station_lasts_as_people_find(load_w, about_h):
    station = Power(battery_wh=400.0, load_w=load_w, usable_frac=0.965)
    hours = 400.0 * 0.965 / load_w
    assert hours == pytest.approx(about_h, rel=0.02)
    assert up_hours_per_day(station) == pytest.approx(min(24.0, hours))


def test_cases_by_hand():
    camp = Power(battery_wh=640, load_w=40, panel_w=120, sun_hours=3.5)  # 544 Wh and 252 Wh a day
    assert up_hours_per_day(camp) == pytest.approx(796 / 40)
    assert sustained_hours_per_day(camp) == pytest.approx(252 / 40)
    # design practice: 12 V x 100 Ah, half of it usable, 0.9 efficient, 25 W
    lead = Power(battery_wh=1200, load_w=25, usable_frac=0.45)
    assert up_hours_per_day(lead) == pytest.approx(21.6)
    assert sustained_hours_per_day(lead) == pytest.approx(21.6)  # charged elsewhere


@given(powers)
def test_hours_are_hours_of_a_day_and_a_heavier_load_never_adds_any(power):
    heavier = replace(power, load_w=2 * power.load_w)
    for hours in (up_hours_per_day, sustained_hours_per_day):
        assert 0 <= hours(heavier) <= hours(power) <= 24
    assert sustained_hours_per_day(power) <= up_hours_per_day(power)


@given(powers, st.integers(0, 2**32))
def test_no_energy_is_made(power, seed):
    hours = hours_by_day(power, 12, 5, np.random.default_rng(seed))
    assert hours.shape == (5, 12)
    assert (hours >= 0).all()
    assert (hours <= 24 + 1e-9).all()
    if power.panel_w and power.sun_hours:
        rng = np.random.default_rng(seed)
        sun = np.exp(0.5 * rng.standard_normal((5, 12)) - 0.125)
        got = power.battery_wh * power.usable_frac + (
            power.sun_hours * power.panel_w * power.yield_frac * sun.sum(axis=1)
        )
        # numbers below 1e-300 have lost their digits
        assert (hours.sum(axis=1) * power.load_w <= got * (1 + 1e-9) + 1e-300).all()


def test_days_settle_to_what_the_sun_gives():
    power = Power(battery_wh=2000, load_w=60, panel_w=200, sun_hours=3.0)
    hours = hours_by_day(power, 60, 400, np.random.default_rng(3))
    assert (hours[:, 0] == 24).all()
    settled = hours[:, 20:]
    error = settled.mean(axis=1).std() / np.sqrt(400)
    assert abs(settled.mean() - sustained_hours_per_day(power)) < 5 * error + 0.05


def test_powered_hours_run_from_morning_to_morning():
    lasts = np.array([[10.0, 4.0]])
    clock = np.array([0.0, 8.0, 13.0, 18.0, 30.0, 32.0, 36.0, 40.0])
    # the first night has power, then 8 to 18 h, then 8 to 12 h of the next day
    assert_allclose(np.diff(powered_hours(lasts, clock))[0], [8, 5, 5, 0, 0, 4, 0])


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"n_days: .* got 0"):
        hours_by_day(Power(battery_wh=1, load_w=1), 0, 1, np.random.default_rng(1))


def test_each_day_has_the_sun_of_its_month(rng):
    sun = (1.0,) * 6 + (4.0,) * 6
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=2.5, sun_hours_by_month=sun)
    days = hours_by_day(power, 60, 400, rng, start=date(2026, 6, 1)).mean(axis=0)
    assert days[:30].mean() == pytest.approx(1.0 * 100 * 0.6 / 30, rel=0.05)
    assert days[30:].mean() == pytest.approx(4.0 * 100 * 0.6 / 30, rel=0.05)  # July
    same = hours_by_day(power, 60, 400, rng, month=1).mean()
    assert same == pytest.approx(2.0, rel=0.05)
    assert sustained_hours_per_day(power, 12) == pytest.approx(8.0)
    assert sustained_hours_per_day(power) == pytest.approx(5.0)


def test_a_converter_takes_its_share():
    plain = Power(battery_wh=400, load_w=14, usable_frac=1.0)
    assert up_hours_per_day(replace(plain, load_w=40, output_frac=0.9)) == pytest.approx(9.0)
    assert stored_wh(replace(plain, output_frac=0.9)) == pytest.approx(360.0)
    assert sun_wh(replace(plain, panel_w=100, sun_hours=2, output_frac=0.5)) == pytest.approx(60)
    assert not has_sun(plain)
    assert has_sun(replace(plain, panel_w=1, sun_hours=1))


def test_sun_factors_are_1_in_the_mean_and_the_same_hours_come_of_them():
    power = Power(battery_wh=640, load_w=13, panel_w=120, sun_hours=3.5)
    factors = sun_factors(50, 2000, np.random.default_rng(7))
    assert factors.mean() == pytest.approx(1.0, abs=0.01)
    by_day = hours_by_day(power, 50, 2000, np.random.default_rng(7), month=6)
    assert_array_equal(hours_under(power, factors, [6] * 50), by_day)


def test_twice_the_sun_on_every_day_is_twice_the_panel():
    power = Power(battery_wh=100, load_w=13, panel_w=60, sun_hours=2.0)
    factors = sun_factors(30, 20, np.random.default_rng(8))
    larger = replace(power, panel_w=120)
    one, other = hours_under(power, 2 * factors, [None] * 30), hours_under(
        larger, factors, [None] * 30)  # fmt: skip
    assert_allclose(one, other)
