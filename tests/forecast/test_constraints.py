"""What holds backlogs back: against a simulation hour by hour, and which constraint decides."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.constraints import LEAST_SHARE_FRAC, Case, binding_shares
from linkfit.forecast.drain import Cycles
from linkfit.forecast.shares import Waiting
from linkfit.site.model import Backlog, SizeLaw

N_STEPS = 48
ITEM_BYTES = 1e6


def waiting(*, heap_bytes=400 * ITEM_BYTES, open_frac=None, wire=1.0, counted=1.0, breaks=0.0,
            **backlog):  # fmt: skip
    """A backlog of 400 items of 1 MB in one future."""
    values = {"name": "b", "n_items": 400, "size": SizeLaw(median_bytes=ITEM_BYTES),
              "per_item_s": 0.0, **backlog}  # fmt: skip
    return Waiting(
        backlog=Backlog(**values),
        heap_bytes=np.array([heap_bytes]),
        open_frac=two_cycles([1.0] * N_STEPS if open_frac is None else open_frac),
        wire_factor=np.array([wire]),
        counted_factor=np.array([counted]),
        breaks_per_h=np.array([breaks]),
    )


def two_cycles(open_frac):
    """The same hours in the first cycle and in those that follow."""
    return np.array([[*open_frac, *open_frac]], float)


def case(*backlogs, rates=None, load_bps=0.0, up_frac=None, others=0.0, **edit):
    """At 1 Mbit/s: 3,200 s for 400 MB, two days of hours as a cycle."""
    up = [1.0] * N_STEPS if up_frac is None else up_frac
    values = {
        "waiting": backlogs or (waiting(open_frac=up),),
        "world": np.zeros(1, np.int32),
        "rate_bps": {"up": np.array([rates or [1e6] * N_STEPS], float)},
        "load_bps": {"up": load_bps},
        "up_frac": two_cycles(up),
        "others_bytes": np.array([others]),
        "cycles": Cycles(n_first=N_STEPS, then=(N_STEPS,)),
    }
    return Case(**{**values, **edit})


def hour_by_hour(case, most=4000):
    """Days until each is done by taking each hour in turn, sharing written out by hand."""
    k = len(case.waiting)
    left = [float(one.heap_bytes[0]) for one in case.waiting]
    ends, used = [math.inf] * k, 0.0
    stops = not case.throttle_bps
    others = float(case.others_bytes[0])
    cap = max(case.cap_bytes - others * N_STEPS, 0.0) if stops else case.cap_bytes
    others = 0.0 if stops else others
    for hour in range(most):
        step = hour % N_STEPS
        if step == 0:
            used = 0.0
        begin = 0.0  # of this hour
        while begin < 1 - 1e-12:
            waits = [i for i in range(k) if math.isinf(ends[i])]
            if not waits:
                return ends
            spent = used >= cap * (1 - 1e-12)
            pace = shares(case, waits, step, case.throttle_bps if spent else math.inf)
            wanted = sum(float(case.waiting[i].counted_factor[0]) * pace[i] for i in waits)
            wanted += others
            length = min([1 - begin, *(left[i] / pace[i] for i in waits if pace[i] > 0)])
            if not spent and wanted > 0 and math.isfinite(cap):
                length = min(length, (cap - used) / wanted)
            for i in waits:
                left[i] -= pace[i] * length
                if left[i] <= 1e-6:
                    ends[i] = (hour + begin + length) / 24
            used += wanted * length
            begin += length
    return ends


def shares(case, waits, step, limit_bps):
    """Payload of an hour for each: by priority, equal within, water-filling by bisection."""
    there = min(float(case.rate_bps["up"][0, step]), limit_bps)
    free = max(there - case.load_bps["up"], LEAST_SHARE_FRAC * there)
    up = float(case.up_frac[0, step])
    free *= up
    moved = [0.0] * len(case.waiting)
    for priority in sorted({case.waiting[i].backlog.priority for i in waits}):
        mine = [i for i in waits if case.waiting[i].backlog.priority == priority]
        wants = {}
        for i in mine:
            one = case.waiting[i]
            link = min(free / up if up else 0.0, one.backlog.rate_limit_bps or math.inf)
            payload = link / float(one.wire_factor[0])
            item_s = 8 * ITEM_BYTES / payload + one.backlog.per_item_s if payload else math.inf
            items = 1 / item_s
            wants[i] = items * 8 * ITEM_BYTES * float(one.wire_factor[0]) * one.open_frac[0, step]
        low, high = 0.0, max(wants.values())
        for _ in range(80):  # the level up to which each is served
            level = (low + high) / 2
            if sum(min(want, level) for want in wants.values()) > free * (1 + 1e-15):
                high = level
            else:
                low = level
        for i in mine:
            got = min(wants[i], high)
            moved[i] = got / float(case.waiting[i].wire_factor[0]) * 3600 / 8
        free = max(0.0, free - sum(min(want, high) for want in wants.values()))
    return moved


rates_st = st.lists(st.sampled_from([0.0, 2e5, 1e6, 3e6]), min_size=6, max_size=6).filter(any)
opens_st = st.lists(st.sampled_from([0.0, 0.5, 1.0]), min_size=6, max_size=6).filter(any)


@settings(deadline=None, max_examples=30)
@given(
    rates=rates_st, opened=opens_st, load_bps=st.sampled_from([0.0, 3e5]),
    per_item_s=st.sampled_from([0.0, 2.0, 20.0]), limit=st.sampled_from([None, 5e5]),
    cap=st.sampled_from([math.inf, 1e8, 3e8]), throttle=st.sampled_from([0.0, 1.28e5]),
    others=st.sampled_from([0.0, 1e6]),
)  # fmt: skip
def test_agrees_with_a_simulation_hour_by_hour(
    rates, opened, load_bps, per_item_s, limit, cap, throttle, others
):
    one = case(
        waiting(per_item_s=per_item_s, rate_limit_bps=limit, wire=1.1, counted=1.15,
                open_frac=opened * 8),
        rates=rates * 8, up_frac=opened * 8, load_bps=load_bps, cap_bytes=cap,
        throttle_bps=throttle, others=others,
    )  # fmt: skip
    slow = hour_by_hour(one)[0]
    if math.isinf(slow):
        assert one.days()[0] > 160
    else:
        assert one.days()[0] == pytest.approx(slow, rel=1e-6)


@settings(deadline=None, max_examples=30)
@given(
    rates=rates_st, opened=opens_st, own=opens_st,
    priorities=st.tuples(*[st.integers(1, 2)] * 3),
    heaps=st.tuples(*[st.sampled_from([2e7, 1.5e8, 4e8])] * 3),
    costs=st.tuples(*[st.sampled_from([0.0, 20.0])] * 3),
    limit=st.sampled_from([None, 3e5]), cap=st.sampled_from([math.inf, 1e9]),
)  # fmt: skip
def test_several_agree_with_a_simulation_hour_by_hour(
    rates, opened, own, priorities, heaps, costs, limit, cap
):
    backlogs = [
        waiting(name=name, priority=priority, heap_bytes=heap, per_item_s=cost, wire=1.1,
                counted=1.15, rate_limit_bps=limit if name == "a" else None,
                open_frac=[min(a, b) for a, b in zip(opened * 8, window * 8, strict=True)])
        for name, priority, heap, cost, window in zip(
            "abc", priorities, heaps, costs, (own, opened, opened), strict=True)
    ]  # fmt: skip
    one = case(*backlogs, rates=rates * 8, up_frac=opened * 8, cap_bytes=cap)
    slow = np.array(hour_by_hour(one))
    found = one.all_days()[0]
    ended = np.isfinite(slow)
    assert_allclose(found[ended], slow[ended], rtol=1e-6)
    assert (found[~ended] > 160).all()


def test_cases_by_hand():
    def seconds(*backlogs, **edit):
        return case(*backlogs, **edit).days()[0] * 86400

    assert seconds() == pytest.approx(3200)
    assert seconds(waiting(per_item_s=2.0)) == pytest.approx(3200 + 800)
    assert seconds(load_bps=5e5) == pytest.approx(6400)
    assert seconds(load_bps=5e6) == pytest.approx(32000)  # a tenth is left
    assert seconds(waiting(wire=1.1)) == pytest.approx(3520)
    assert seconds(up_frac=[0.0, 1.0] * 24) == pytest.approx(3600 + 3200)
    two = (waiting(), waiting(name="c", heap_bytes=100e6))
    assert_allclose(case(*two).all_days()[0] * 86400, [4000, 1600])  # half until the small ends
    first = (waiting(), waiting(name="c", heap_bytes=100e6, priority=0))
    assert_allclose(case(*first).all_days()[0] * 86400, [4000, 800])


def test_what_one_cannot_use_the_others_take():
    slow = waiting(name="slow", rate_limit_bps=2e5)
    fast = waiting(name="fast")
    days = case(slow, fast).all_days()[0] * 86400
    assert_allclose(days, [400e6 * 8 / 2e5, 400e6 * 8 / 8e5])


def test_a_plan_that_stops_leaves_services_their_data():
    """Cycle of 48 h, cap 300 MB, services 100 MB of it: 200 MB a cycle for the backlog."""
    stops = case(cap_bytes=3e8, others=1e8 / N_STEPS)
    assert stops.days()[0] == pytest.approx(2 + 1600 / 86400)
    throttles = case(cap_bytes=3e8, others=1e8 / N_STEPS, throttle_bps=1.28e5)
    assert throttles.days()[0] < stops.days()[0]


def test_what_has_ended_still_takes_what_joins_it():
    """30 items a day keep a first one at 1/2880 of the link; with 2,880 a third is left."""
    first = waiting(name="first", priority=0, heap_bytes=10e6, arrivals_per_day=7200.0)
    days = case(first, waiting()).all_days()[0] * 86400
    # 1 Mbit/s moves 10,800 items a day; 7,200 join the first one, which then keeps two thirds
    assert days[0] == pytest.approx(80 / (1 - 7200 / 10800))
    assert days[1] == pytest.approx(days[0] + 3200 / (1 - 7200 / 10800))


@pytest.mark.parametrize(("edit", "own", "binding"), [
    ({}, {}, "rate"),
    ({}, {"per_item_s": 1.0}, "rate"),  # 8 s a transfer: twice the rate saves more
    ({}, {"per_item_s": 30.0}, "per-item cost"),
    ({}, {"rate_limit_bps": 1e5}, "rate limit"),
    ({"cap_bytes": 1e8}, {}, "data plan"),
    ({"cap_bytes": 1e12}, {}, "rate"),
    ({"up_frac": ([1.0] + [0.0] * 23) * 2},
     {"heap_bytes": 2e9, "open_frac": ([1.0] + [0.0] * 23) * 2}, "hours"),
    ({}, {"breaks": 9000.0, "resumable": False}, "path limit"),
])  # fmt: skip
def test_the_constraint_whose_easing_saves_most_binds(edit, own, binding):
    one = case(waiting(**own), **edit)
    assert binding_shares(one, one.days()) == {binding: 1.0}


def test_what_goes_before_may_bind():
    crowd = case(waiting(priority=2), waiting(name="c", heap_bytes=4e9))
    assert binding_shares(crowd, crowd.days()) == {"other backlogs": 1.0}


def test_what_only_one_change_ends_binds_to_it():
    stopped = case(waiting(arrivals_per_day=50.0), cap_bytes=1e6)
    assert np.isinf(stopped.days()).all()
    assert binding_shares(stopped, stopped.days()) == {"data plan": 1.0}


def test_shares_add_up_over_futures():
    one = waiting(per_item_s=1.0)
    twice = replace(
        one, heap_bytes=np.full(2, 4e8), wire_factor=np.ones(2), counted_factor=np.ones(2),
        breaks_per_h=np.zeros(2),
    )  # fmt: skip
    two = case(
        twice, rate_bps={"up": np.array([[1e6] * N_STEPS, [2e7] * N_STEPS])},
        others_bytes=np.zeros(2), world=np.zeros(2, np.int32),
    )  # fmt: skip
    assert binding_shares(two, two.days()) == {"rate": 0.5, "per-item cost": 0.5}


@pytest.mark.parametrize(
    "name", ["data plan", "hours", "per-item cost", "rate limit", "other backlogs", "rate"]
)
def test_easing_never_makes_it_later(name):
    hours = [0.0, 1.0, 1.0] * 16
    own = waiting(per_item_s=3.0, rate_limit_bps=6e5, open_frac=hours)
    other = waiting(name="c", heap_bytes=1e8, open_frac=hours)
    # with a cap in common a faster link may serve the other one first and spend it sooner
    both = (own,) if name == "rate" else (own, other)
    one = case(*both, cap_bytes=2e8, throttle_bps=6.4e4, up_frac=hours)
    assert one.eased(name).days()[0] <= one.days()[0]
    assert name in one.present()


def test_the_long_run_by_hand():
    assert case().long_run_bytes_per_day()[0] == pytest.approx(1e6 / 8 * 86400)
    assert case(cap_bytes=1e9).long_run_bytes_per_day()[0] == pytest.approx(5e8)
    assert case(cap_bytes=1e9, others=1e9).long_run_bytes_per_day()[0] == 0
