"""Two classes on one link: by hand, against theory, against a step-by-step server."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.forecast.priority import leave_clock_by_priority
from linkfit.forecast.sharing import leave_clock


def leave(arrive, size, low, group=None):
    group = np.zeros(len(arrive), np.int64) if group is None else np.array(group)
    return leave_clock_by_priority(
        np.array(arrive, float), np.array(size, float), group, np.array(low, bool)
    )


def test_by_hand():
    # 0 to 1 low alone; 1 to 3 the first class; 3 to 4 the rest of low
    assert_allclose(leave([0, 1], [2, 2], [True, False]), [4, 3])


def test_groups_do_not_meet():
    times = leave([0, 1, 0, 1], [2, 2, 2, 2], [True, False, True, True], [0, 0, 1, 1])
    assert_allclose(times, [4, 3, 3, 4])


def test_without_low_priority_it_is_plain_sharing():
    rng = np.random.default_rng(1)
    arrive, size = np.sort(rng.random(50) * 20), rng.random(50)
    group = np.zeros(50, np.int64)
    assert_array_equal(leave(arrive, size, np.zeros(50)), leave_clock(arrive, size, group))


def stepwise(arrive, size, low, step=1e-3):
    """The same server in small steps of time."""
    left, ends, now = np.array(size, float), np.full(len(size), np.nan), 0.0
    while np.isnan(ends).any():
        here = (np.array(arrive) <= now) & (left > 0)
        served = here & ~low if (here & ~low).any() else here
        if served.any():
            left[served] -= step / served.sum()
            ends[served & (left <= 0)] = now + step
        now += step
    return ends


@pytest.mark.parametrize("seed", range(6))
def test_it_is_the_server_that_steps_through_time(seed):
    rng = np.random.default_rng([9, seed])
    arrive, size, low = np.sort(rng.random(6) * 3), rng.random(6) + 0.05, rng.random(6) < 0.5
    assert_allclose(leave(arrive, size, low), stepwise(arrive, size, low), atol=0.02)


# Preemptive resume, M/M/1: T_high = 1 / (mu - lambda_high), T_low = 1 / (mu (1 - rho_high)
# (1 - rho)). With lambda 0.2 and 0.6 and mu 1 that is 1.25 and 6.25; the non-preemptive case of
# the same numbers is 2.0 and 6.0 (Ciw, tests/test_simulation.py), and Kleinrock's conservation
# law gives both the same number in the system, 0.8 / 0.2 = 4.
@pytest.mark.slow
def test_times_are_those_of_preemptive_resume():
    means = []
    for batch in range(20):
        rng = np.random.default_rng([7, batch])
        n = 20_000
        arrive = np.cumsum(rng.exponential(1 / 0.8, n))
        low = rng.random(n) < 0.75
        times = leave(arrive, rng.exponential(1.0, n), low) - arrive
        means.append([times[500:][~low[500:]].mean(), times[500:][low[500:]].mean()])
    high, low_ = np.mean(means, axis=0)
    error = np.std(means, axis=0, ddof=1) / np.sqrt(20)
    assert abs(high - 1.25) < 3 * error[0]
    assert abs(low_ - 6.25) < 3 * error[1]
    assert abs(0.2 * high + 0.6 * low_ - (0.2 * 2.0 + 0.6 * 6.0)) < 3 * np.hypot(*error)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_fewer_others_never_end_later(seed):
    rng = np.random.default_rng(seed)
    arrive, size, low = np.sort(rng.random(12) * 8), rng.random(12) + 0.1, rng.random(12) < 0.5
    keep = rng.random(12) < 0.6
    some = leave(arrive[keep], size[keep], low[keep])
    assert (some <= leave(arrive, size, low)[keep] + 1e-9).all()
