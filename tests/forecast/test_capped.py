"""Sharing under caps: by hand, against steps of the path, against published queues."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.capped import capped_sharing
from linkfit.forecast.priority import leave_clock_by_priority
from linkfit.link.paths import CapacityPaths
from tests.forecast.stepwise_caps import capped_finish_s, water_level_bps, water_levels_bps

jobs_st = st.lists(
    st.tuples(st.integers(0, 40), st.integers(1, 60), st.sampled_from([0.1, 0.35, 1.0])),
    min_size=1, max_size=8,
).map(sorted)  # fmt: skip


def columns(jobs):
    """Starts, sizes and caps of jobs, each as an array."""
    return np.array(jobs, float).T


def ends(starts, sizes, caps, low=None):
    """As arrays; nobody waits for others if `low` is not given."""
    waits = [False] * len(starts) if low is None else low
    return np.array(capped_sharing(list(starts), list(sizes), list(caps), waits))


def test_cases_solved_by_hand():
    assert_allclose(ends([3.0], [2.0], [0.4]), [8.0])
    # 0.4 and the rest, 0.6, until the first is done at 5, then all of it: 3 + 1 in 6
    assert_allclose(ends([0, 0], [2.0, 4.0], [0.4, 1.0]), [5.0, 6.0])
    # four at 0.4 each are too many: a quarter each, as if there were no cap
    assert_allclose(ends([0] * 4, [1.0] * 4, [0.4] * 4), [4.0] * 4)


def test_what_waits_gets_what_the_caps_of_the_others_leave():
    # 0.75 are left while the first runs to 4, then all
    assert_allclose(ends([0, 0], [1.0, 4.0], [0.25, 1.0], [False, True]), [4.0, 5.0])
    # nothing is left by one without a cap
    assert_allclose(ends([0, 0], [1.0, 4.0], [1.0, 0.5], [False, True]), [1.0, 9.0])


# demands 2, 2.6, 4, 5 on a link of 10 get 2, 2.6, 2.7, 2.7 (max-min fair share, arithmetic)
def test_a_textbook_share():
    caps = [2.0, 2.6, 4.0, 5.0]
    got = [2.0, 2.6, 2.7, 2.7]
    level = water_level_bps(10.0, caps)
    assert_allclose([min(c, level) for c in caps], got)
    # all end at 1 if each needs what it gets until then
    assert_allclose(ends([0] * 4, np.array(got) / 10, np.array(caps) / 10), [1.0] * 4)


@settings(max_examples=60, deadline=None)
@given(jobs_st)
def test_agrees_with_a_walk_by_steps_of_the_path(jobs):
    starts, sizes, caps = columns(jobs)
    rate, row = 5.0, np.zeros(starts.size, np.int64)
    paths = CapacityPaths.from_rates(np.full(50, rate))
    slow_s = capped_finish_s(paths, starts / 2, sizes, row, row, caps * rate)
    assert_allclose(ends(starts / 2 * rate, sizes, caps) / rate, slow_s, rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(jobs_st, st.integers(0, 255))
def test_without_caps_it_is_equal_sharing_in_two_priorities(jobs, bits):
    starts, sizes, _ = columns(jobs)
    low = np.array([bits >> n & 1 for n in range(starts.size)], bool)
    expected = leave_clock_by_priority(starts, sizes, np.zeros(starts.size, np.int64), low)
    assert_allclose(ends(starts, sizes, np.ones(starts.size), low.tolist()), expected, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(jobs_st, st.integers(0, 255), st.integers(0, 7))
def test_one_transfer_fewer_never_makes_another_wait_longer(jobs, bits, out):
    starts, sizes, caps = columns(jobs)
    low = np.array([bits >> n & 1 for n in range(starts.size)], bool)
    keep = np.arange(starts.size) != out % starts.size
    every = ends(starts, sizes, caps, low.tolist())
    fewer = ends(starts[keep], sizes[keep], caps[keep], low[keep].tolist())
    assert (fewer <= every[keep] * (1 + 1e-9) + 1e-9).all()
    assert (every >= starts + sizes / caps - 1e-9).all()


@given(st.floats(0.0, 30.0), st.lists(st.floats(0.1, 10.0), min_size=1, max_size=6).map(sorted))
def test_the_water_level_of_the_walk_gives_out_all_there_is_or_all_that_is_asked(capacity, caps):
    level = water_level_bps(capacity, caps)
    given_out = sum(min(cap, level) for cap in caps)
    assert given_out == pytest.approx(min(capacity, sum(caps)), abs=1e-9)
    assert_allclose(water_levels_bps(np.array([capacity]), np.array(caps)), [level])


def capped_run(rate, cap, per_s, seed, n=6000):
    """Starts and times of exponential transfers of mean 1 that get `cap` at most."""
    rng = np.random.default_rng([13, seed])
    starts = np.cumsum(rng.exponential(1 / per_s, n))
    sizes = rng.exponential(1.0, n)
    ends = np.array(capped_sharing(starts * rate, sizes, [cap / rate] * n, [False] * n)) / rate
    return starts, ends


# With equal caps of C / m the number under way is that of M/M/m. lambda 9, mu 5: m = 2 gives a
# mean time of 1.053, m = 4 one of 0.212 (GNU Octave package queueing, test of qsmmm)
@pytest.mark.slow
@pytest.mark.parametrize(("m", "expected"), [(2, 1.0526), (4, 0.2117)])
def test_equal_caps_are_as_many_servers(m, expected):
    means = []
    for seed in range(8):
        starts, ends = capped_run(5.0 * m, 5.0, 9.0, seed)
        means.append((ends - starts)[500:].mean())
    error = np.std(means, ddof=1) / np.sqrt(8)
    assert abs(np.mean(means) - expected) < 3 * error
    assert error < 0.1 * expected


# Capacitated processor sharing: lambda 10, mu 12, 3 at full rate; the closed form beside the
# simulated values of ciw's guide to processor sharing (.4399, .3635, .1451, .0392, .0092)
@pytest.mark.slow
def test_the_number_under_way_is_that_of_capacitated_sharing():
    expected = [0.43213, 0.36011, 0.15005, 0.04168, 0.01158]
    found = []
    for seed in range(8):
        starts, ends = capped_run(36.0, 12.0, 10.0, 100 + seed)
        at = np.linspace(starts[500], starts[-500], 20_000)
        number = np.searchsorted(starts, at) - np.searchsorted(np.sort(ends), at)
        found.append([(number == k).mean() for k in range(5)])
    error = np.std(found, axis=0, ddof=1) / np.sqrt(8)
    assert (np.abs(np.mean(found, axis=0) - expected) < 3.5 * error).all()
