"""The smallest plan, exact and among the usual sizes."""

import numpy as np
import pytest

from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.plan_sizes import USUAL_SIZES_GB, plan_chance, plan_sizes
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=8.0)
FINDS = Service(name="finds", kind="photo-library", n_users=6, tasks=(ADD,))
DATA = forecast_data(Site(name="x", services=(FINDS,)))


def test_the_exact_plan_is_overrun_in_one_cycle_of_twenty():
    found = plan_sizes(DATA)
    assert np.mean(DATA.use.draws > found.exact_bytes) == pytest.approx(0.05, abs=0.001)
    assert found.exact_low_bytes < found.exact_bytes < found.exact_high_bytes


def test_the_usual_sizes_on_both_sides():
    found = plan_sizes(DATA)
    assert found.below.cap_bytes < found.exact_bytes <= found.enough.cap_bytes
    assert found.enough.prob_over <= 0.05 < found.below.prob_over
    sizes = [size * 1e9 for size in USUAL_SIZES_GB]
    assert sizes.index(found.enough.cap_bytes) == sizes.index(found.below.cap_bytes) + 1


def test_beyond_the_usual_sizes_there_is_none():
    many = Service(name="finds", kind="photo-library", n_users=200_000, tasks=(ADD,))
    assert plan_sizes(forecast_data(Site(name="x", services=(many,)))).enough is None
    nothing = plan_sizes(forecast_data(Site(name="x")))
    assert (nothing.exact_bytes, nothing.below) == (0.0, None)
    assert nothing.enough.prob_over == 0


def test_data_kept_for_the_next_cycle_counts():
    kept = forecast_data(
        Site(name="x", services=(FINDS,), plan=Plan(cap_bytes=5e9, carry_over_bytes=2e9))
    )
    assert plan_sizes(kept).exact_bytes < plan_sizes(DATA).exact_bytes


def test_the_chance_has_an_interval_over_the_worlds():
    chance = plan_chance(DATA.use, float(DATA.use.quantile(0.6)))
    assert chance.prob_over_low < chance.prob_over < chance.prob_over_high
    assert chance.prob_over == pytest.approx(0.4, abs=0.001)
