"""From a site to the steps of a drain: hours, days of the cycle, what others use."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.backlog_case import backlog_case, open_parts
from linkfit.forecast.path_source import backlog_paths
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Background, Backlog, Site, SizeLaw
from linkfit.site.plan import Plan

PHOTOS = Backlog(name="photos", n_items=1000, size=SizeLaw(median_bytes=3.5e6, spread=1.6))
DAY = Hours(windows=(DayWindow(start_h=6.5, end_h=22),))
SITE = Site(name="x", hours=DAY)
NIGHT = replace(PHOTOS, name="night", window=(DayWindow(start_h=20, end_h=2),))


class Steady:
    def direction(self, direction):
        return SimpleNamespace(daily=SimpleNamespace(found=False))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        rates = np.full((n_draws, round(horizon_s / step_s)), 4e6)
        return CapacityPaths.from_rates(rates, step_s, np.arange(n_draws) % n_worlds)


def case(site, start=None, **options):
    paths = backlog_paths(Steady(), ("up",), n_draws=40)
    return backlog_case(site, [PHOTOS], 0, Steady(), paths,
                        **{"seed": 1, "start": start, "start_h": 0.0, **options})  # fmt: skip


def parts(site, backlogs, **options):
    return open_parts(
        site, backlogs, **{"start": None, "start_h": 0.0, "seed": 1, "n_draws": 5, **options}
    )


def test_the_common_hours_of_server_and_window():
    up, (photos, night) = parts(SITE, [PHOTOS, NIGHT])
    assert up.shape == (1, 720)
    assert_allclose(up[0, :24], [0] * 6 + [0.5] + [1] * 15 + [0] * 2)
    assert_allclose(photos, up)
    assert_allclose(night[0, :24], [0] * 20 + [1, 1, 0, 0])


def test_the_clock_begins_at_the_start():
    up, _ = parts(SITE, [PHOTOS], start_h=21.0)
    assert_allclose(up[0, :12], [1] + [0] * 8 + [0.5, 1, 1])  # shut at 22, up again at 6:30


def test_an_hour_more_is_an_hour_more():
    up, (_, night) = parts(SITE, [PHOTOS, NIGHT], extra_h=1.0)
    assert up[0, :24].sum() == 16.5
    assert night[0, :24].sum() == 3.0  # 20 to 23
    sun = Site(name="x", hours=Hours(power=Power(battery_wh=0, load_w=20, panel_w=100,
                                                 sun_hours=3.0)))  # fmt: skip
    before, _ = parts(sun, [])
    after, _ = parts(sun, [], extra_h=1.0)
    assert before.shape == (5, 2 * 720)
    more_h = (after - before).sum(axis=1) / 60
    assert (more_h > 0.8).all()
    assert (more_h <= 1 + 1e-9).all()


@pytest.mark.parametrize(("start", "n_first"), [
    (None, 720), (date(2026, 7, 5), 720), (date(2026, 7, 25), 11 * 24), (date(2026, 8, 4), 24),
])  # fmt: skip
def test_the_running_cycle_ends_on_its_day(start, n_first):
    site = replace(SITE, plan=Plan(cap_bytes=60e9, cycle_day=5))
    assert case(site, start).n_first == n_first


def test_a_price_is_no_cap_and_others_use_theirs():
    updates = Background(name="updates", bytes_per_day=1e9)
    site = replace(SITE, plan=Plan(cap_bytes=60e9), background=(updates,))
    found = case(site)
    assert found.cap_bytes == 60e9
    # background runs while the server is up: 15.5 of 24 hours
    assert np.median(found.others_bytes) * 720 == pytest.approx(30e9 * 15.5 / 24, rel=0.2)
    priced = replace(site, plan=Plan(cap_bytes=60e9, price_per_gb=3.0))
    assert np.isinf(case(priced).cap_bytes)
    assert not case(priced).others_bytes.any()


def test_a_heap_is_the_sum_of_its_items():
    found = case(SITE)
    heap = found.waiting[0].heap_bytes
    assert heap.mean() == pytest.approx(1000 * PHOTOS.size.mean_bytes, rel=0.02)
    assert heap.std() > 0


def test_each_month_has_its_own_sun():
    """Twelve months of cycles from the start on, then the mean of the year for ever."""
    sun = (1.0,) * 6 + (5.0,) * 6
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=3.0, sun_hours_by_month=sun)
    site = Site(name="x", hours=Hours(power=power), plan=Plan(cycle_day=5))
    up, (photos,) = parts(site, [PHOTOS], start=date(2026, 6, 5), n_draws=100)
    assert up.shape == photos.shape == (100, 13 * 720)
    hours = up.reshape(100, 13, 720).mean(axis=(0, 2)) * 24
    assert hours[0] < 6  # June with 1 h of sun: 2 h of load, July's first days in it
    assert hours[2] == pytest.approx(5.0 * 100 * 0.6 / 30, rel=0.12)  # August
    assert hours[8] < 4
    assert hours[12] == pytest.approx(3.0 * 100 * 0.6 / 30, rel=0.12)
    assert parts(site, [PHOTOS])[0].shape == (5, 2 * 720)  # no start: the mean of the year


def test_a_backlog_that_waits_for_summer_ends_in_it():
    dark = (0.0,) * 5 + (6.0,) * 3 + (0.0,) * 4
    power = Power(battery_wh=1, load_w=30, panel_w=200, sun_hours=1.5, sun_hours_by_month=dark)
    site = Site(name="x", hours=Hours(power=power))
    # from noon on, since the night before the start has power
    days = case(site, date(2026, 1, 1), start_h=12.0).days()
    assert (days > 150.5).all()  # June 1st
    assert (days < 160).all()


def test_after_the_first_cycle_the_battery_is_no_longer_full():
    weak = Power(battery_wh=3000, load_w=30, panel_w=100, sun_hours=3.0)
    up, _ = parts(Site(name="x", hours=Hours(power=weak)), [], n_draws=100)
    first, later = up.reshape(100, 2, 720).mean(axis=(0, 2)) * 24
    assert later == pytest.approx(3.0 * 100 * 0.6 / 30, rel=0.05)  # what the sun gives
    assert first == pytest.approx(later + 3000 * 0.85 / 30 / 30, rel=0.05)
