"""Burn-down of a backlog: ends where its forecast ends, and each part takes its own time."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.backlog import forecast_backlog
from linkfit.forecast.burn_down import burn_down
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, Site, SizeLaw


class SteadyLink:
    """10 Mbit/s each way at all times."""

    def direction(self, direction):
        raise AttributeError

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=1, step_s=1.0, hour=None):
        return steady(horizon_s, step_s, n_draws)


def steady(horizon_s=30 * 86400.0, step_s=3600.0, n_draws=4):
    n_steps = round(horizon_s / step_s)
    bits = np.tile(10e6 * step_s * np.arange(n_steps + 1), (n_draws, 1))
    return CapacityPaths(
        cumulative_bits=bits, step_s=step_s, world=np.arange(n_draws, dtype=np.int32)
    )


def heap(**more):
    return Backlog(name="b", n_items=20_000, size=SizeLaw(median_bytes=5e6), per_item_s=0.0, **more)


def test_a_steady_link_moves_it_in_a_straight_line():
    paths = {"up": steady()}
    found = burn_down(Site(name="s", backlogs=(heap(),)), heap(), SteadyLink(), paths)
    medians = np.array([float(days.quantile(0.5)) for days in found.days])
    assert_allclose(medians, medians[-1] * np.array(found.shares_done), rtol=1e-6)
    # 100 GB at 10 Mbit/s with 4 % of headers and set-up, which are known to 2.5 %
    assert medians[-1] == pytest.approx(100e9 * 8 / 10e6 / 86400 * 1.04, rel=0.05)


def test_its_end_is_the_forecast_of_the_end():
    paths = {"up": steady()}
    site = Site(name="s", backlogs=(heap(),))
    end = forecast_backlog(site, heap(), SteadyLink(), paths=paths, binding=False)
    found = burn_down(site, heap(), SteadyLink(), paths)
    assert_allclose(found.days[-1].draws, end.days.draws)
    assert found.left_frac()[-1] == 0.0


def test_what_arrives_slows_the_later_parts():
    paths = {"up": steady()}
    growing = heap(arrivals_per_day=10_000)
    found = burn_down(Site(name="s", backlogs=(growing,)), growing, SteadyLink(), paths)
    plain = burn_down(Site(name="s", backlogs=(heap(),)), heap(), SteadyLink(), paths)
    for with_more, without in zip(found.days, plain.days, strict=True):
        assert float(with_more.quantile(0.5)) > 1.5 * float(without.quantile(0.5))
