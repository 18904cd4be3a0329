"""What each backlog may move in a step: priorities, equal shares, both ways, restarts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.shares import Waiting, payload_by_step
from linkfit.site.model import Backlog, SizeLaw

N_STEPS = 4


def one(name="b", **edit):
    values = {"name": name, "n_items": 1, "size": SizeLaw(median_bytes=1e6), "per_item_s": 0.0,
              **edit}  # fmt: skip
    return Waiting(
        backlog=Backlog(**values), heap_bytes=np.ones(1), open_frac=np.ones((1, N_STEPS)),
        wire_factor=np.ones(1), counted_factor=np.ones(1), breaks_per_h=np.zeros(1),
    )  # fmt: skip


def rates_of(*backlogs, up_bps=8e6, down_bps=8e6, done=None):
    """Payload of one second for each, in bytes."""
    left = {"up": np.full((1, N_STEPS), up_bps), "down": np.full((1, N_STEPS), down_bps)}
    moved = payload_by_step(
        backlogs, done or [False] * len(backlogs), left, np.ones((1, N_STEPS)), 1.0
    )
    assert_allclose(moved[0], moved[0, :, :1].repeat(N_STEPS, axis=1))
    return moved[0, :, 0]


@pytest.mark.parametrize(("backlogs", "expected"), [
    ([one()], [1e6]),
    ([one(), one("c")], [5e5, 5e5]),
    ([one(), one("c", priority=2)], [1e6, 0]),
    ([one(rate_limit_bps=2e6), one("c", priority=2)], [2.5e5, 7.5e5]),
    ([one(rate_limit_bps=2e6), one("c"), one("d")], [2.5e5, 3.75e5, 3.75e5]),
    ([one(), one("c", flow="in")], [1e6, 1e6]),  # each its own direction
    ([one(), one("c", flow="both")], [5e5, 5e5]),
    ([one(per_item_s=1.0), one("c", priority=2)], [5e5, 5e5]),  # it waits half of its time
])  # fmt: skip
def test_shares_by_hand(backlogs, expected):
    assert_allclose(rates_of(*backlogs), expected)


def test_both_ways_leaves_the_rest_of_the_wider_way():
    rates = rates_of(one("both", flow="both"), one("in", flow="in"), up_bps=2e6)
    assert_allclose(rates, [2.5e5, 7.5e5])


def test_what_has_ended_takes_only_what_joins_it():
    ended = one(arrivals_per_day=8640.0)  # 1 MB each ten seconds: 0.1 MB/s
    assert_allclose(rates_of(ended, one("c", priority=2), done=[True, False]), [1e5, 9e5])
    assert_allclose(rates_of(one(), one("c"), done=[True, False]), [0, 1e6])


def test_what_cannot_resume_moves_less_than_it_sends():
    broken = replace(one(resumable=False), breaks_per_h=np.array([3600.0]))
    # pieces of one second, broken once a second on average: (e - 1) times as long
    assert_allclose(rates_of(broken), [1e6 / (np.e - 1)])
    shared = rates_of(broken, one("c"))
    assert_allclose(shared, [5e5 * 2 / np.expm1(2.0), 5e5])  # two seconds each: broken twice


@given(
    priorities=st.lists(st.integers(1, 3), min_size=1, max_size=4),
    flows=st.lists(st.sampled_from(["out", "in", "both"]), min_size=4, max_size=4),
    costs=st.lists(st.sampled_from([0.0, 0.5, 5.0]), min_size=4, max_size=4),
)
def test_no_direction_carries_more_than_it_has(priorities, flows, costs):
    backlogs = [
        one(f"b{i}", priority=p, flow=flows[i], per_item_s=costs[i])
        for i, p in enumerate(priorities)
    ]
    rates = rates_of(*backlogs)
    for way, flow in (("up", "out"), ("down", "in")):
        used = sum(r for r, b in zip(rates, backlogs, strict=True)
                   if b.backlog.flow in (flow, "both"))  # fmt: skip
        assert used <= 1e6 * (1 + 1e-9), way
    assert (rates >= 0).all()


@given(st.lists(st.sampled_from([None, 1e6, 3e6, 9e6]), min_size=2, max_size=4))
def test_nobody_waits_while_the_link_is_idle(limits):
    rates = rates_of(*[one(f"b{i}", rate_limit_bps=limit) for i, limit in enumerate(limits)])
    wanted = sum(min(limit or 8e6, 8e6) for limit in limits) / 8
    assert rates.sum() == pytest.approx(min(wanted, 1e6))
