"""A cycle against the plan: overrun, date, what is carried, what is kept, the smallest plan."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.draws import Forecast
from linkfit.forecast.plan_use import (
    against_plan,
    cap_needed,
    counted_bytes,
    day_shares,
    kept_bytes,
    runs_out_days,
    smallest_plan_bytes,
    usable_bytes,
)
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=12.0)
PHOTOS = Service(name="photos", kind="photo-library", n_users=6, tasks=(ADD,))
SITE = Site(name="x", services=(PHOTOS,), plan=Plan(cap_bytes=8e9))
WORLD = np.arange(600, dtype=np.int32) % 20


def a_use(seed=3, mean=10e9):
    draws = mean * np.exp(0.3 * np.random.default_rng(seed).standard_normal(600))
    return Forecast(draws=draws, unit="bytes", world=WORLD)


def on_plan(use, plan, **options):
    rng = np.random.default_rng(1)
    return against_plan(plan, (), use, cycle_days=30.0, up_frac=1.0, rng=rng, **options)


def test_overrun_price_and_the_smallest_plan():
    data = forecast_data(replace(SITE, plan=Plan(cap_bytes=8e9, price_per_gb=4.0)))
    assert data.prob_over_cap == np.mean(data.use.draws > 8e9)
    assert_allclose(data.cost.draws, np.maximum(data.use.draws - 8e9, 0) / 1e9 * 4)
    enough = smallest_plan_bytes(data.use)
    assert np.mean(data.use.draws > enough) <= 0.05
    assert np.mean(data.use.draws > enough * 0.999) > 0.045
    free = forecast_data(replace(SITE, plan=Plan()))
    assert free.prob_over_cap is None
    assert free.runs_out is None
    assert free.cost is None


def test_the_date_follows_the_use():
    rng = np.random.default_rng(1)
    few, many = day_shares(4, 30.0, rng), day_shares(4000, 30.0, rng)
    days = runs_out_days(np.array([10.0, 20.0, 40.0, 0.0]), 10.0, 30.0, few)
    assert days[0] == np.inf
    assert days[3] == np.inf
    steady = runs_out_days(np.full(4000, 20.0), 10.0, 30.0, many)
    # half of the use is spent after 15 days, give or take: days vary by 0.6 of their mean
    assert abs(steady.mean() - 15) < 5 * steady.std() / np.sqrt(4000)
    assert 1.0 < steady.std() < 2.5  # 0.6 sqrt(15 / 2) = 1.6 for a bridge of 30 days
    data = forecast_data(SITE)
    assert np.isinf(data.runs_out.draws).mean() == pytest.approx(1 - data.prob_over_cap)


def test_a_stop_lets_no_more_through_than_the_cap_and_a_price_everything():
    use = a_use()
    stopped = on_plan(use, Plan(cap_bytes=8e9))
    assert_allclose(stopped.carried.draws, np.minimum(use.draws, 8e9))
    assert_allclose(on_plan(use, Plan(cap_bytes=8e9, price_per_gb=4.0)).carried.draws, use.draws)
    assert_allclose(on_plan(use, Plan()).carried.draws, use.draws)


# 128 kbit/s is 1.38 GB a day at best, each way
def test_a_throttle_carries_what_its_rate_allows_after_the_cap():
    use = a_use(mean=2000e9)  # more than it could ever carry
    slowed = on_plan(use, Plan(cap_bytes=8e9, throttle_bps=128e3, counted="up"))
    left_days = 30.0 - slowed.runs_out.draws
    assert_allclose(slowed.carried.draws, 8e9 + left_days * 1.3824e9, rtol=1e-6)
    both = on_plan(use, Plan(cap_bytes=8e9, throttle_bps=128e3))
    assert_allclose(both.carried.draws, 8e9 + left_days * 2 * 1.3824e9, rtol=1e-6)


@settings(deadline=None, max_examples=30)
@given(st.floats(0.01, 30), st.integers(0, 99))
def test_the_cap_needed_is_the_smallest_that_does(kept_gb, seed):
    use = a_use(seed)
    needed = cap_needed(use, kept_gb * 1e9)
    before = np.empty(600)
    for world in range(20):
        rows = np.flatnonzero(world == WORLD)
        before[rows] = use.draws[np.roll(rows, 1)]
    for cap, enough in ((needed.draws * 1.000001, True), (needed.draws * 0.999999, False)):
        room = cap + np.clip(cap - before, 0, kept_gb * 1e9)
        assert ((room >= use.draws) == enough).all()
    data = on_plan(use, Plan(cap_bytes=9e9, carry_over_bytes=kept_gb * 1e9))
    assert data.prob_over_cap == pytest.approx(np.mean(data.cap_needed.draws > 9e9), abs=0.002)


@settings(deadline=None, max_examples=30)
@given(
    st.floats(1e8, 3e10), st.floats(0, 2e10), st.integers(0, 99),
    st.sampled_from([{}, {"throttle_bps": 128e3}, {"price_per_gb": 3.0}]),
)  # fmt: skip
def test_a_larger_cap_never_makes_anything_worse(cap_bytes, kept_bytes, seed, after):
    plan = Plan(cap_bytes=cap_bytes, carry_over_bytes=kept_bytes, **after)
    site = replace(SITE, plan=plan)
    before = forecast_data(site, seed=seed, n_draws=300)
    more = replace(site, plan=replace(plan, cap_bytes=2 * cap_bytes))
    behind = forecast_data(more, seed=seed, n_draws=300)
    assert behind.prob_over_cap <= before.prob_over_cap
    assert (behind.runs_out.draws >= before.runs_out.draws).all()
    assert (behind.carried.draws >= before.carried.draws * (1 - 1e-12)).all()
    assert (before.carried.draws <= before.use.draws * (1 + 1e-12)).all()
    if behind.cost is not None:
        assert (behind.cost.draws <= before.cost.draws).all()


def test_keeping_unused_data_lowers_the_chance_of_an_overrun():
    use = a_use()
    plain, kept = (on_plan(use, Plan(cap_bytes=11e9, carry_over_bytes=b)) for b in (0.0, 5e9))
    assert 0 < kept.prob_over_cap < plain.prob_over_cap < 1
    assert smallest_plan_bytes(kept.cap_needed) < smallest_plan_bytes(use)


@given(st.integers(0, 10**11), st.integers(0, 10**10))
def test_what_can_be_sent_is_what_is_counted_inverted(sent, rounded):
    counted = counted_bytes(np.array([float(sent)]), rounded)
    assert sent <= counted <= sent + rounded + 1e-6
    assert counted >= rounded
    assert (usable_bytes(counted, rounded) <= counted).all()
    if sent > 0.2 * rounded:  # below, all of it is what empty sessions count
        assert_allclose(usable_bytes(counted, rounded), sent, rtol=1e-6)


def test_rounding_and_keeping_by_hand():
    one = np.array([1e9])
    # large sessions: half a multiple more for each; 720 sessions of 1 MB
    assert_allclose(counted_bytes(60 * one, 720e6), 60.36e9, rtol=2e-5)
    assert_allclose(usable_bytes(60 * one, 720e6), 59.64e9, rtol=2e-5)
    assert counted_bytes(0 * one, 720e6) == 720e6  # idle: each is counted once
    assert usable_bytes(0.72 * one, 720e6) == 0
    assert usable_bytes(one, 0.0) == counted_bytes(one, 0.0) == 1e9
    assert kept_bytes(60e9, 55 * one, 20e9) == 5e9
    assert kept_bytes(60e9, 5 * one, 20e9) == 20e9
    assert kept_bytes(60e9, 65 * one, 20e9) == 0


def test_the_part_of_the_cycle_that_is_over_stays_as_it_was():
    use = a_use()
    late = on_plan(use, Plan(cap_bytes=11e9), used_bytes=5e9, elapsed_days=12.0)
    assert late.runs_out.draws.min() > 12.0
    gone = on_plan(use, Plan(cap_bytes=4e9), used_bytes=5e9, elapsed_days=12.0)
    assert (gone.runs_out.draws[use.draws > 5e9] == 12.0).all()


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"prob: .* got 2"):
        smallest_plan_bytes(a_use(), 2.0)
