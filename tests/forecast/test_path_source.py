"""Futures for backlogs: from which hour, and apart for each purpose."""

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.path_source import backlog_paths, has_pattern, named_rng
from linkfit.link.paths import CapacityPaths


class Asked:
    """A link that remembers from which hour its futures were asked; 1 bit/s an hour of the day."""

    def __init__(self, *, found, sigma_at=lambda hour: 0.0):
        self.found, self.sigma_at, self.hours = found, sigma_at, []

    def direction(self, direction):
        found = self.found and direction == "up"
        return SimpleNamespace(daily=SimpleNamespace(found=found, sigma_at=self.sigma_at))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        self.hours.append((direction, hour))
        clock = ((hour or 0.0) + np.arange(round(horizon_s / step_s))) % 24 + 1
        rates = np.tile(clock, (n_draws, 1))
        return CapacityPaths.from_rates(rates, step_s, np.arange(n_draws) % n_worlds)


@pytest.mark.parametrize(("found", "hours"), [
    (True, [("up", 22.5), ("down", None)]), (False, [("up", None), ("down", None)]),
])  # fmt: skip
def test_where_a_daily_pattern_was_found_the_start_has_its_hour(found, hours):
    link = Asked(found=found)
    paths = backlog_paths(link, ("up", "down"), n_draws=3, n_worlds=1, start_h=22.5)
    assert link.hours == hours
    assert paths["up"].rates_bps.shape == (3, 720)
    assert has_pattern(link, ("down", "up")) is found
    assert not has_pattern(link, ("down",))


def test_futures_begin_in_the_best_known_hour_and_are_cut_to_the_start():
    link = Asked(found=True, sigma_at=lambda hour: 0.0 if hour == 9.0 else 1e-9)
    paths = backlog_paths(link, ("up",), n_draws=3, n_worlds=1, start_h=2.0)
    assert link.hours == [("up", 9.0)]
    assert paths["up"].rates_bps.shape == (3, 720)
    assert_allclose(paths["up"].rates_bps[0, :3], [3, 4, 5])  # 2, 3, 4 o'clock


def test_what_is_unknown_of_the_hours_differs_between_worlds():
    """A night known to 30 % may be 30 % off; the mean of many worlds is the pattern's."""
    link = Asked(found=True, sigma_at=lambda hour: 0.3 if hour < 6 else 0.0)
    rates = backlog_paths(link, ("up",), n_draws=4000, n_worlds=4000)["up"].rates_bps
    hours = np.arange(1.0, 25.0)
    night, day = rates[:, 2] / hours[2], rates[:, 12] / hours[12]
    assert np.log(night).std() == pytest.approx(0.3, rel=0.1)
    assert night.mean() == pytest.approx(1.0, abs=0.03)
    assert_allclose(day, 1.0)
    assert_allclose(rates[:, 26], rates[:, 2])  # all nights of a world alike
    assert np.corrcoef(np.log(night), np.log(rates[:, 3]))[0, 1] > 0.9


def test_generators_of_different_purposes_differ():
    one, other = named_rng(1, "sun"), named_rng(1, "heap")
    assert one.random() != other.random()
    assert named_rng(1, "sun").random() == named_rng(1, "sun").random()
