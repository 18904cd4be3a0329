"""A backlog in the hours of a night: chance, number of nights, and whether waiting gains."""

import math
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.nights import answer_backlog, nights_of, within_hours
from linkfit.forecast.outcomes import BacklogForecast
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow
from linkfit.site.model import Backlog, PathLimits, Site, SizeLaw

TUNNEL = PathLimits(tunnel_overhead_bytes=1448 - 1500 * 1.01 / 1.10)  # a factor of 1.10 in all
SITE = Site(name="x", path=TUNNEL)
NIGHT = DayWindow(start_h=23, end_h=5)


def backup(size_bytes):
    return Backlog(name="backup", n_items=1, size=SizeLaw(median_bytes=size_bytes), per_item_s=0.0)


class NightLink:
    """4 Mbit/s by day; by night (23 to 5) `night` times as much. Known to a fifth."""

    def __init__(self, night=1.0, *, found=True):
        self.night, self.found = night, found

    def direction(self, direction):
        daily = SimpleNamespace(
            found=self.found, sigma_at=lambda hour: 0.0, hours_never_measured=(4, 5, 23)
        )
        return SimpleNamespace(daily=daily)

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        world = np.arange(n_draws) % n_worlds
        level = 4e6 * np.exp(0.2 * rng.standard_normal(n_worlds))[world]
        clock = ((hour or 0.0) + step_s / 3600 * np.arange(round(horizon_s / step_s))) % 24
        day = np.where((clock >= 23) | (clock < 5), self.night, 1.0)
        return CapacityPaths.from_rates(level[:, None] * day, step_s, world)


def forecast(days):
    return BacklogForecast(
        backlog=backup(1.0), binding="rate", binding_frac={"rate": 1.0}, by_deadline=None,
        days=Forecast(draws=np.array(days), unit="days", world=np.zeros(len(days), np.int32)),
    )  # fmt: skip


def test_nights_by_hand():
    nights = nights_of(forecast([0.1, 0.25, 1.2, 2.0, math.inf]), 6.0)
    assert nights.nights.draws.tolist() == [1, 1, 2, 3, math.inf]
    assert nights.first.prob == 0.4


def test_tonights_backup_and_its_nights():
    """18 GB x 1.10 in 6 h asks 7.3 Mbit/s; at 4 Mbit/s it takes 11 h, so two nights."""
    found = answer_backlog(SITE, backup(18e9), NightLink(), seed=1, start_h=23.0, night_h=6.0)
    assert found.nights.first.prob < 0.05
    assert float(found.nights.nights.quantile(0.5)) == 2
    small = answer_backlog(SITE, backup(4e9), NightLink(), seed=1, start_h=23.0, night_h=6.0)
    assert small.nights.first.prob == 1
    assert 0 < answer_backlog(
        SITE, backup(9.8e9), NightLink(), seed=1, start_h=23.0, night_h=6.0
    ).nights.first.prob < 1  # fmt: skip


def test_the_start_has_its_hour():
    """Three times as fast at night: from 23 o'clock 5.4 GB an hour, from 5 o'clock 1.8."""
    link = NightLink(3.0)
    night = answer_backlog(SITE, backup(18e9), link, seed=1, start_h=23.0).forecast.days
    day = answer_backlog(SITE, backup(18e9), link, seed=1, start_h=5.0).forecast.days
    assert float(night.quantile(0.5)) * 24 == pytest.approx(18 * 1.1 / 5.4, rel=0.15)
    assert float(day.quantile(0.5)) * 24 == pytest.approx(18 * 1.1 / 1.8, rel=0.15)


def test_waiting_for_the_night():
    found = answer_backlog(
        SITE, backup(18e9), NightLink(3.0), seed=1, start=date(2026, 6, 20), start_h=14.0,
        wait_for=NIGHT,
    ).waiting  # fmt: skip
    assert (found.later.draws >= -1e-9).all()
    # nine hours carry 16 GB; waiting ends it at 23:00 + 3.7 h, a little later than starting now
    assert float(found.later.quantile(0.5)) * 24 == pytest.approx(12.7 - 9.7, abs=1.5)
    assert found.times_as_fast.draws == pytest.approx(3.0)
    assert found.n_unmeasured == 2  # of 23 to 5
    assert found.now.draws == pytest.approx(found.waited.draws - found.later.draws)


def test_without_a_pattern_no_gain_is_found():
    waiting = answer_backlog(
        SITE, backup(18e9), NightLink(found=False), seed=1, wait_for=NIGHT
    ).waiting
    assert waiting.times_as_fast is None


def test_a_day_of_hours_is_no_window():
    assert within_hours(backup(1.0), 8.0, 24.0).window == ()
    assert within_hours(backup(1.0), 23.0, 6.0).window == (NIGHT,)
    with pytest.raises(InputError, match=r"--within: expected a time above 0 .* got 25 h"):
        within_hours(backup(1.0), 8.0, 25.0)
