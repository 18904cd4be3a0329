"""How often a day a task may happen: against the ledger itself, and by hand."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.data_use import forecast_data, one_time_bytes
from linkfit.forecast.demand import task_bytes_per_day
from linkfit.forecast.how_often import find_task, how_often
from linkfit.forecast.used_so_far import CyclePlace, SoFar, measured_level
from linkfit.site.model import Background, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

GRID = Task(name="open the grid", flow="out", size=SizeLaw(median_bytes=8e3, spread=1.8),
            n_requests=60, per_user_day=3.0)  # fmt: skip
ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=8.0)
FINDS = Service(name="finds", kind="photo-library", n_users=6, tasks=(GRID, ADD))
HUM = Background(name="hum", bytes_per_day=50e6)
SITE = Site(name="x", services=(FINDS,), background=(HUM,), plan=Plan(cap_bytes=12e9),
            path=PathLimits(same_link_share_frac=0.3))  # fmt: skip


def answer(site=SITE, task=GRID):
    return how_often(site, site.services[0], task, forecast_data)


def test_one_time_agrees_with_the_demand():
    one = one_time_bytes(SITE, FINDS, GRID)
    mean = task_bytes_per_day(SITE, FINDS, GRID, "both") / (6 * 3.0)
    assert one.draws.mean() == pytest.approx(1.01 * mean, rel=0.002)


def test_so_often_alone_fills_the_plan_and_one_in_twenty_overruns():
    found = answer()
    assert found.now_per_day == 18.0
    per_day = float(found.alone.quantile(0.05))
    assert per_day * float(found.one.draws.mean()) * 30 == pytest.approx(12e9, rel=0.35)
    over = np.mean(per_day * 30 * found.one.draws > 12e9)
    assert over <= 0.06
    assert np.mean(1.05 * per_day * 30 * found.one.draws > 12e9) > 0.04


def test_besides_the_rest_leaves_the_rest_its_share():
    found = answer()
    rest = forecast_data(replace(SITE, services=(replace(FINDS, tasks=(ADD,)),)))
    left = np.maximum(12e9 - rest.use.draws, 0) / 30 / found.one.draws
    assert float(found.besides.quantile(0.05)) == pytest.approx(np.quantile(left, 0.05), rel=0.02)
    assert (found.besides.draws <= found.alone.draws).all()


def test_sessions_rounded_up_leave_less_and_as_much_as_the_ledger_says():
    """720 sessions of half a 2 MB multiple: 0.72 GB of 12, alone or beside the rest."""
    rounded = replace(SITE, plan=replace(SITE.plan, round_up_bytes=2e6))
    plain, less = answer(), answer(rounded)
    alone = less.alone.draws.mean() / plain.alone.draws.mean()
    assert alone == pytest.approx(1 - 0.72 / 12, abs=0.004)
    per_day = float(less.besides.quantile(0.5))
    often = replace(GRID, per_user_day=per_day / 6)
    service = replace(FINDS, tasks=(often, ADD))
    assert forecast_data(replace(rounded, services=(service,))).prob_over_cap == pytest.approx(
        0.5, abs=0.06
    )


@settings(deadline=None, max_examples=15)
@given(st.floats(1e9, 5e10), st.sampled_from([GRID, ADD]), st.floats(1.0, 3.0))
def test_a_larger_plan_never_allows_fewer(cap_bytes, task, factor):
    small, large = (
        answer(replace(SITE, plan=Plan(cap_bytes=cap)), task)
        for cap in (cap_bytes, factor * cap_bytes)
    )
    assert (large.alone.draws >= small.alone.draws * (1 - 1e-6)).all()
    assert (large.besides.draws >= small.besides.draws * (1 - 1e-6)).all()


def test_measured_use_leaves_room_for_the_days_that_are_left():
    place = CyclePlace(start=datetime(2026, 6, 5), cycle_days=30.0, elapsed_days=20.0)
    data = forecast_data(SITE)

    def left(used_bytes):
        level = measured_level(data, used_bytes=used_bytes, place=place, seed=0)
        so_far = SoFar(place=place, used_bytes=used_bytes, level=level)
        return how_often(SITE, FINDS, GRID, forecast_data, so_far=so_far)

    little, much = left(2e9), left(6e9)
    assert little.days == 10.0
    assert little.besides.quantile(0.05) > much.besides.quantile(0.05)
    # alone: 10 GB in 10 days
    mean = float(little.alone.draws.mean() * little.one.draws.mean())
    assert mean == pytest.approx(1e9, rel=0.1)


def test_a_full_plan_leaves_nothing():
    found = answer(replace(SITE, plan=Plan(cap_bytes=1e6)))
    assert found.besides.draws.max() == 0


def test_a_rate_limit_bounds_it():
    held = replace(FINDS, rate_limit_bps=1e3)
    site = replace(SITE, services=(held,), plan=Plan(cap_bytes=12e12))
    # both ways at 1 kbit/s for a day
    most = 2 * 1e3 * 86400 / 8 / answer(site).one.draws
    assert answer(site).alone.draws == pytest.approx(most)


def test_a_task_is_named_with_its_service_or_alone_where_that_is_clear():
    assert find_task(SITE, "finds/add") == (FINDS, ADD)
    assert find_task(SITE, "add") == (FINDS, ADD)
    twin = replace(SITE, services=(FINDS, replace(FINDS, name="copies")))
    with pytest.raises(InputError, match=r"--task: .* 'finds/add', 'copies/add', got 'add'"):
        find_task(twin, "add")
    with pytest.raises(InputError, match=r"--task: .*'finds/open the grid'.* got 'fly'"):
        find_task(SITE, "fly")


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"\[plan\] cap: expected a cap that can run out"):
        answer(replace(SITE, plan=Plan()))
    local = replace(FINDS, local_name=True)
    site = replace(SITE, services=(local,), path=PathLimits(same_link_share_frac=1.0))
    with pytest.raises(InputError, match=r"--task: expected a task that uses data"):
        answer(site)
