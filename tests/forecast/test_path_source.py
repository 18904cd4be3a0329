"""Futures for backlogs: from which hour, and apart for each purpose."""

from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.forecast.path_source import backlog_paths, has_pattern, named_rng
from linkfit.link.paths import CapacityPaths


class Asked:
    """A link that remembers from which hour its futures were asked."""

    def __init__(self, *, found):
        self.found, self.hours = found, []

    def direction(self, direction):
        return SimpleNamespace(daily=SimpleNamespace(found=self.found and direction == "up"))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        self.hours.append((direction, hour))
        return CapacityPaths.from_rates(np.ones((n_draws, round(horizon_s / step_s))), step_s)


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


def test_generators_of_different_purposes_differ():
    one, other = named_rng(1, "sun"), named_rng(1, "heap")
    assert one.random() != other.random()
    assert named_rng(1, "sun").random() == named_rng(1, "sun").random()
