"""What holds a backlog back: against a simulation hour by hour, and which constraint decides."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.constraints import LEAST_SHARE_FRAC, Case, binding_shares
from linkfit.site.model import Backlog, SizeLaw

N_STEPS = 48
ITEM_BYTES = 1e6


def case(**edit):
    """A backlog of 400 items of 1 MB at 1 Mbit/s: 3,200 s, two days of hours as a cycle."""
    one = np.ones(1)
    values = {
        "backlog": Backlog(name="b", n_items=400, size=SizeLaw(median_bytes=ITEM_BYTES)),
        "world": np.zeros(1, np.int32),
        "rate_bps": np.full((1, N_STEPS), 1e6),
        "load_bps": 0.0,
        "open_frac": np.ones((1, N_STEPS)),
        "wire_factor": one,
        "counted_factor": one,
        "heap_bytes": one * 400 * ITEM_BYTES,
        "breaks_per_h": one * 0.0,
        "per_item_s": 0.0,
        "rate_limit_bps": math.inf,
        "cap_bytes": math.inf,
        "throttle_bps": 0.0,
        "others_bytes": one * 0.0,
        "n_first": N_STEPS,
    }
    return Case(**{**values, **edit})


def hour_by_hour(case, most=30_000):
    """Days by taking each hour in turn; only the hours of the end and of the cap are rounded."""
    left, used = float(case.heap_bytes[0]), 0.0
    for hour in range(most):
        step = hour % N_STEPS
        if step == 0:
            used = 0.0
        pace = {}
        for name, limit in (("open", math.inf), ("after", case.throttle_bps)):
            there = min(float(case.rate_bps[0, step]), limit)
            share = max(there - case.load_bps, LEAST_SHARE_FRAC * there)
            bps = min(share, case.rate_limit_bps) / float(case.wire_factor[0])
            item_s = 8 * ITEM_BYTES / bps + case.per_item_s if bps else math.inf
            pace[name] = 3600 * float(case.open_frac[0, step]) * ITEM_BYTES / item_s
        others = float(case.others_bytes[0])
        wanted = float(case.counted_factor[0]) * pace["open"] + others
        part = min(1.0, max(0.0, (case.cap_bytes - used) / wanted)) if wanted else 1.0
        moved = part * pace["open"] + (1 - part) * min(pace["after"], pace["open"])
        used += wanted
        if moved >= left * (1 - 1e-12):
            return (hour + left / moved) / 24
        left -= moved
    return math.inf


@settings(deadline=None, max_examples=60)
@given(
    rates=st.lists(st.sampled_from([0.0, 2e5, 1e6, 3e6]), min_size=6, max_size=6).filter(any),
    opened=st.lists(st.sampled_from([0.0, 0.5, 1.0]), min_size=6, max_size=6).filter(any),
    load_bps=st.sampled_from([0.0, 3e5]),
    per_item_s=st.sampled_from([0.0, 2.0, 20.0]),
    limit=st.sampled_from([math.inf, 5e5]),
    cap=st.sampled_from([math.inf, 1e8, 3e8]),
    throttle=st.sampled_from([0.0, 1.28e5]),
    others=st.sampled_from([0.0, 1e6]),
)
def test_agrees_with_a_simulation_hour_by_hour(
    rates, opened, load_bps, per_item_s, limit, cap, throttle, others
):
    one = case(
        rate_bps=np.array([rates * 8]), open_frac=np.array([opened * 8]), load_bps=load_bps,
        per_item_s=per_item_s, rate_limit_bps=limit, cap_bytes=cap, throttle_bps=throttle,
        others_bytes=np.array([others]), wire_factor=np.array([1.1]),
        counted_factor=np.array([1.15]),
    )  # fmt: skip
    assert one.days()[0] == pytest.approx(hour_by_hour(one), rel=1e-9)


def test_cases_by_hand():
    assert_allclose(case().days() * 24 * 3600, 3200.0)
    assert_allclose(case(per_item_s=2.0).days() * 24 * 3600, 3200.0 + 800.0)
    assert_allclose(case(load_bps=5e5).days() * 24 * 3600, 6400.0)
    assert_allclose(case(load_bps=5e6).days() * 24 * 3600, 32000.0)  # a tenth is left
    assert_allclose(case(wire_factor=np.array([1.1])).days() * 24 * 3600, 3520.0)
    half = np.resize([0.0, 1.0], (1, N_STEPS))
    assert_allclose(case(open_frac=half).days() * 24, 1 + 3200 / 3600)


@pytest.mark.parametrize(("edit", "binding"), [
    ({}, "rate"),
    ({"per_item_s": 1.0}, "rate"),  # 8 s a transfer: twice the rate saves more
    ({"per_item_s": 30.0}, "per-item cost"),
    ({"rate_limit_bps": 1e5}, "rate limit"),
    ({"cap_bytes": 1e8}, "data plan"),
    ({"cap_bytes": 1e12}, "rate"),
    ({"open_frac": np.resize([1.0] + [0.0] * 23, (1, N_STEPS)), "heap_bytes": np.array([2e9])},
     "hours"),
    ({"breaks_per_h": np.array([9000.0])}, "path limit"),
])  # fmt: skip
def test_the_constraint_whose_easing_saves_most_binds(edit, binding):
    one = case(**edit)
    if binding == "path limit":
        one = replace(one, backlog=replace(one.backlog, resumable=False))
    shares = binding_shares(one, one.days())
    assert shares == {binding: 1.0}


def test_what_only_one_change_ends_binds_to_it():
    never = case(cap_bytes=1e6, others_bytes=np.array([1e6]), n_first=N_STEPS)
    stopped = replace(never, backlog=replace(never.backlog, arrivals_per_day=50.0))
    assert np.isinf(stopped.days()).all()
    assert binding_shares(stopped, stopped.days()) == {"data plan": 1.0}


def test_shares_add_up_over_futures():
    rates = np.array([[1e6] * N_STEPS, [2e7] * N_STEPS])
    two = case(
        rate_bps=rates, per_item_s=1.0, heap_bytes=np.full(2, 4e8), wire_factor=np.ones(2),
        counted_factor=np.ones(2), breaks_per_h=np.zeros(2), others_bytes=np.zeros(2),
        world=np.zeros(2, np.int32),
    )  # fmt: skip
    assert binding_shares(two, two.days()) == {"rate": 0.5, "per-item cost": 0.5}


@pytest.mark.parametrize("name", ["data plan", "hours", "per-item cost", "rate limit", "rate"])
def test_easing_never_makes_it_later(name):
    one = case(
        cap_bytes=2e8, per_item_s=3.0, rate_limit_bps=6e5, throttle_bps=6.4e4,
        open_frac=np.resize([0.0, 1.0, 1.0], (1, N_STEPS)),
    )  # fmt: skip
    assert one.eased(name).days()[0] <= one.days()[0]
    assert name in one.present()
