"""Shadow prices: small easings re-run over the same futures."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.forecast.backlog import forecast_backlog
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Backlog, PathLimits, Site, SizeLaw
from linkfit.site.plan import Plan

TUNNEL = PathLimits(tunnel_overhead_bytes=1448 - 1500 * 1.01 / 1.10)  # a factor of 1.10 in all
BARE = Site(name="x", path=TUNNEL)
PHOTOS = Backlog(name="photos", n_items=10_000, size=SizeLaw(median_bytes=3.5e6), per_item_s=0.0)


class Steady:
    """A link of 4 Mbit/s, known to a fifth."""

    def direction(self, direction):
        return SimpleNamespace(daily=SimpleNamespace(found=False))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        world = np.arange(n_draws) % n_worlds
        level = 4e6 * np.exp(0.2 * rng.standard_normal(n_worlds))[world]
        rates = np.repeat(level[:, None], round(horizon_s / step_s), axis=1)
        return CapacityPaths.from_rates(rates, step_s, world)


def easings(site, backlog, **options):
    found = forecast_backlog(site, backlog, Steady(), seed=3, prices=True, **options)
    return {one.what: one for one in found.easings}, found


def test_a_faster_link_by_hand():
    """1 Mbit/s more of a draw's C saves C -> C + 1: days x (1 - C / (C + 1))."""
    prices, found = easings(BARE, PHOTOS)
    assert list(prices) == ["1 Mbit/s more up"]
    one = prices["1 Mbit/s more up"]
    rates = 35e9 * 8 * 1.1 / (found.days.draws * 86400)  # as the draws tell it, with their factor
    expected = found.days.draws * (1 - rates / (rates + 1e6))
    assert one.sooner.draws == pytest.approx(expected, rel=0.1)  # TLS: a few percent
    assert one.constraint == "rate"
    low, high = one.sooner.quantile([0.05, 0.95])
    assert low < high


def test_a_larger_plan_and_a_longer_day_by_hand():
    site = replace(BARE, plan=Plan(cap_bytes=15e9, counted="up"))
    prices, found = easings(site, PHOTOS)  # 38.5 GB: in the third cycle with 15, the second with 25
    assert float(found.days.quantile(0.5)) == pytest.approx(60.2, abs=0.3)
    assert float(prices["10 GB more plan"].sooner.quantile(0.5)) == pytest.approx(30, abs=0.7)
    shared = replace(site, plan=replace(site.plan, cap_bytes=40e9, tether_bytes=15e9))
    of_hotspot = easings(shared, PHOTOS)[0]["10 GB more for a hotspot's clients"]
    assert (of_hotspot.sooner.draws == prices["10 GB more plan"].sooner.draws).all()
    mornings = replace(BARE, hours=Hours(windows=(DayWindow(start_h=6, end_h=10),)))
    prices, found = easings(mornings, PHOTOS)
    # five mornings of 4.3 h become five of 5 h, about
    assert float(prices["one more hour up a day"].sooner.quantile(0.5)) == pytest.approx(1, abs=0.3)


def test_the_window_of_the_backlog_grows_as_well():
    night = replace(PHOTOS, window=(DayWindow(start_h=23, end_h=5),))
    prices, found = easings(BARE, night)
    six, seven = (float(one.quantile(0.5)) for one in
                  (found.days, prices["one more hour up a day"].days))  # fmt: skip
    assert seven < six
    assert "hours" in {one.constraint for one in found.easings}


def test_power_of_one_more_hour():
    weak = Power(battery_wh=100, load_w=30, panel_w=100, sun_hours=3.0)
    site = replace(BARE, hours=Hours(power=weak))
    prices, found = easings(site, PHOTOS)
    sooner = prices["one more hour up a day"].sooner
    assert 0 < float(sooner.quantile(0.5)) < float(found.days.quantile(0.5))


def test_items_limits_and_company():
    limited = replace(PHOTOS, per_item_s=5.0, rate_limit_bps=2e6, priority=2)
    first = replace(PHOTOS, name="first", n_items=2000)
    prices, _ = easings(replace(BARE, backlogs=(limited, first)), limited)
    assert set(prices) == {
        "per-item cost halved", "1 Mbit/s more rate limit", "no other backlog", "1 Mbit/s more up"
    }  # fmt: skip
    assert all((one.sooner.draws >= -1e-9).all() for one in prices.values())
    gains = [float(one.sooner.quantile(0.5)) for one in prices.values()]
    assert gains == sorted(gains, reverse=True)


def test_what_only_an_easing_ends_is_told_as_endless_gain():
    growing = replace(PHOTOS, arrivals_per_day=13_000.0)
    prices, found = easings(BARE, growing)
    assert np.isinf(found.days.draws).mean() > 0.5
    assert np.isinf(prices["1 Mbit/s more up"].sooner.draws).any()
    assert "new items bring 45.5 GB a day" in found.why_never
