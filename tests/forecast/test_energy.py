"""What battery and panel carry: figures of the trade, months, energy for a GB, changes."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.energy import (
    all_months,
    battery_alone_h,
    gb_energy,
    hours_gains,
    month_hours,
    site_energy,
)
from linkfit.forecast.power import SHADE_YIELD_FRAC
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import Hours, Power
from linkfit.site.model import PathLimits, Site

SUN = (1.6, 2.3, 3.4, 4.4, 5.2, 5.8, 6.0, 5.5, 4.3, 2.9, 1.9, 1.4)
HUT = Power(battery_wh=640, load_w=13, panel_w=120, sun_hours=3.7, sun_hours_by_month=SUN)
TUNNEL = PathLimits(tunnel_overhead_bytes=1448 - 1500 * 1.01 / 1.10)  # near 1.09 bytes a byte


# common practice: a station of 400 Wh carries 14 W for 28 h and 100 W for 3.8 h; that is all of
# the battery through a converter of 95 to 98 %
@pytest.mark.parametrize(("load_w", "hours"), [(14.0, 28.0), (100.0, 3.8)])
def test_a_battery_station_alone(load_w, hours):
    station = Power(battery_wh=400, load_w=load_w, usable_frac=1.0, output_frac=0.96)
    assert battery_alone_h(station) == pytest.approx(hours, rel=0.025)


# design practice: 12 V 100 Ah, half of it usable (lead-acid), 90 % efficiency, 25 W: 21.6 h
def test_a_lead_acid_battery_alone():
    battery = Power(battery_wh=1200, load_w=25, usable_frac=0.5, output_frac=0.9)
    assert battery_alone_h(battery) == pytest.approx(21.6)
    assert battery_alone_h(battery, 50.0) == pytest.approx(10.8)


# common practice: a panel of 100 W brings 50 to 60 W in sun and 17 W in shade
def test_a_panel_of_100_w():
    panel = Power(battery_wh=1, load_w=1, panel_w=100)
    assert 50 <= panel.panel_w * panel.yield_frac <= 60
    assert panel.panel_w * SHADE_YIELD_FRAC == 17


def test_a_mean_day_carries_what_the_sun_brings():
    """120 W x 0.6 x 1.4 h = 101 Wh in December, over 13 W: 7.8 h."""
    december = month_hours(HUT, 12, seed=1)
    assert float(december.mean.quantile(0.5)) == pytest.approx(7.75, rel=0.05)
    low, high = december.mean.quantile([0.05, 0.95])
    assert low < 0.85 * 7.75 < 1.15 * 7.75 < high  # 18 % from year to year and panel to panel
    days = december.days.quantile([0.05, 0.95])
    assert days[0] < low < high < days[1]  # sunny and dull days differ more than years
    assert december.prob_whole_day < 0.05
    assert month_hours(HUT, 7, seed=1).prob_whole_day > 0.9


def test_months_follow_the_sun():
    months = all_months(HUT, seed=1)
    assert [one.month for one in months] == list(range(1, 13))
    means = np.array([one.mean.draws.mean() for one in months])
    order = np.argsort(SUN)
    assert (np.diff(means[order]) >= -1e-9).all()
    flat = all_months(replace(HUT, sun_hours_by_month=()))
    assert [one.month for one in flat] == [None]


def test_without_a_panel_every_day_is_the_batterys():
    alone = month_hours(Power(battery_wh=130, load_w=13, usable_frac=0.8), 12)
    assert_allclose(alone.days.draws, 8.0)
    assert {one.what for one in hours_gains(Power(battery_wh=130, load_w=13), None)} == {
        "load 1 W lower", "load halved", "battery twice as large"
    }  # fmt: skip


def test_changes_by_hand():
    """Short of sun, hours go as sun over load; a larger battery only moves them."""
    gains = {one.what: float(one.gain.quantile(0.5)) for one in hours_gains(HUT, 12, seed=1)}
    mean_h = float(month_hours(HUT, 12, seed=1).mean.quantile(0.5))
    assert gains["load halved"] == pytest.approx(mean_h, rel=0.05)
    assert gains["panel 50 W larger"] == pytest.approx(mean_h * 50 / 120, rel=0.05)
    assert gains["load 1 W lower"] == pytest.approx(mean_h / 12, rel=0.05)
    assert gains["battery twice as large"] == pytest.approx(0, abs=0.05)
    assert list(gains.values()) == sorted(gains.values(), reverse=True)


@settings(deadline=None, max_examples=8)
@given(
    battery=st.floats(10, 2000), load=st.floats(3, 60), panel=st.floats(0, 400),
    sun=st.floats(0, 8), usable=st.floats(0.1, 1),
)  # fmt: skip
def test_no_change_for_the_better_takes_hours_away(battery, load, panel, sun, usable):
    power = Power(battery_wh=battery, load_w=load, panel_w=panel, sun_hours=sun, usable_frac=usable)
    for one in hours_gains(power, None):
        assert (one.gain.draws >= -1e-9).all(), one.what


def test_energy_for_a_gb_by_hand():
    """1 GB x 1.09 at 5 Mbit/s: 1,746 s; 16 W for it is 7.8 Wh, 3 W of them 1.5 Wh."""
    paths = CapacityPaths.from_rates(np.full((4, 60), 5e6))
    power = replace(HUT, load_busy_w=16.0)
    found = gb_energy(power, TUNNEL, "up", paths)
    assert float(found.whole.quantile(0.5)) == pytest.approx(7.76, rel=0.01)
    assert float(found.added.quantile(0.5)) == pytest.approx(7.76 * 3 / 16, rel=0.01)
    plain = gb_energy(replace(HUT, output_frac=0.5), TUNNEL, "down", paths)
    assert float(plain.whole.quantile(0.5)) == pytest.approx(7.76 * 13 / 16 * 2, rel=0.01)
    assert plain.added is None


# one published phone model: 1.29 W + 0.438 W per Mbit/s, 3.8 / 2.4 / 1.55 / 1.26 Wh a GB (value
# from memory; the figures follow from it by arithmetic)
@pytest.mark.parametrize(("rate_mbps", "wh"), [(1, 3.8), (2, 2.4), (5, 1.55), (10, 1.26)])
def test_faster_is_cheaper(rate_mbps, wh):
    busy_w = 1.29 + 0.438 * rate_mbps
    phone = Power(battery_wh=15, load_w=busy_w)
    paths = CapacityPaths.from_rates(np.full((1, 10), rate_mbps * 1e6))
    bare = float(gb_energy(phone, PathLimits(), "up", paths).whole.quantile(0.5))
    assert bare == pytest.approx(wh * 1500 / 1448, rel=0.02)


def test_a_site_takes_its_load_while_it_is_up():
    site = Site(name="hut", hours=Hours(power=replace(HUT, output_frac=0.9)))
    link = fit_link(Trace.from_quick_numbers(up_bps=6e6))
    found = site_energy(site, link, seed=2)
    assert found.worst.month == 12
    assert [one.direction for one in found.energies] == ["up"]
    assert_allclose(found.day_wh(found.worst).draws, found.worst.days.draws * 13 / 0.9)
    assert site_energy(Site(name="no power"), link) is None
