"""Sharing with caps of single transfers: water levels, and the walk from event to event."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.capped import capped_finish_s, water_level_bps, water_levels_bps
from linkfit.forecast.sharing import share_capacity
from linkfit.link.paths import CapacityPaths

caps_st = st.lists(st.floats(0.1, 10.0), min_size=1, max_size=6).map(sorted)


@given(st.floats(0.0, 30.0), caps_st)
def test_the_water_level_gives_out_all_there_is_or_all_that_is_asked(capacity, caps):
    level = water_level_bps(capacity, caps)
    given_out = sum(min(cap, level) for cap in caps)
    assert given_out == pytest.approx(min(capacity, sum(caps)), abs=1e-9)
    assert_allclose(water_levels_bps(np.array([capacity]), np.array(caps)), [level])


# link of 10: demands 2, 2.6, 4, 5 get 2, 2.6, 2.7, 2.7 (max-min fair share, arithmetic)
def test_a_textbook_share():
    level = water_level_bps(10.0, [2.0, 2.6, 4.0, 5.0])
    assert_allclose([min(c, level) for c in (2.0, 2.6, 4.0, 5.0)], [2.0, 2.6, 2.7, 2.7])


def test_cases_solved_by_hand():
    paths = CapacityPaths.from_rates(np.full(50, 10.0))
    alone = share_capacity(paths, [0.3], [20.0], caps_bps=[4.0])
    assert_allclose(alone, [5.0])
    # 4 and the rest (6) until the first is done at 5 s, then 10: 30 + 10 bits in 6 s
    assert_allclose(share_capacity(paths, [0, 0], [20.0, 40.0], caps_bps=[4.0, np.inf]), [5, 6])


jobs_st = st.lists(
    st.tuples(st.integers(0, 40), st.integers(1, 60), st.sampled_from([0.7, 2.0, np.inf])),
    min_size=1, max_size=7,
)  # fmt: skip
rates_st = st.lists(st.integers(0, 6), min_size=2, max_size=8).filter(any)


@settings(deadline=None)
@given(rates_st, jobs_st)
def test_without_binding_caps_it_is_equal_sharing(rates, jobs):
    start, bits = (np.array([job[i] for job in jobs], float) for i in (0, 1))
    paths = CapacityPaths.from_rates(rates)
    row = np.zeros(start.size, np.int64)
    finish = capped_finish_s(paths, start / 2, bits, row, row, np.full(start.size, 100.0))
    ends = start / 2 + share_capacity(paths, start / 2, bits)
    # in bits: an end on the edge of an outage may fall on either side of it
    assert_allclose(paths.carried_bits(finish), paths.carried_bits(ends), atol=1e-6)


@settings(deadline=None)
@given(rates_st, jobs_st)
def test_a_cap_is_kept_and_never_helps_its_owner(rates, jobs):
    start, bits, cap = (np.array([job[i] for job in jobs], float) for i in (0, 1, 2))
    times = share_capacity(CapacityPaths.from_rates(rates), start / 2, bits, caps_bps=cap)
    assert (times >= bits / cap - 1e-6).all()
    assert (times >= bits / max(rates) - 1e-6).all()


def test_long_transfers_skip_steps_in_blocks_and_end_where_a_walk_would():
    rng = np.random.default_rng(3)
    rates = rng.uniform(0.5, 8.0, 700)
    paths = CapacityPaths.from_rates(rates)
    bits = 3000.0
    times = share_capacity(paths, [0.25, 10.0], [bits, 500.0], caps_bps=[3.0, 2.0])
    left, now = [bits, 500.0], 0.25
    ends = {}
    while len(ends) < 2:  # steps of 1/64 s divide the grid, so only the ends are rounded
        level_caps = sorted(
            c for c, s, k in ((3.0, 0.25, 0), (2.0, 10.0, 1)) if k not in ends and now >= s
        )
        level = water_level_bps(rates[int(now) % 700], level_caps)
        for k, (cap, begin) in enumerate(((3.0, 0.25), (2.0, 10.0))):
            if k not in ends and now >= begin:
                left[k] -= min(cap, level) / 64
                if left[k] <= 0:
                    ends[k] = now + 1 / 64 - begin
        now += 1 / 64
    assert_allclose(times, [ends[0], ends[1]], atol=0.05)


def test_a_dead_row_never_ends():
    paths = CapacityPaths.from_rates([[0.0, 0.0], [2.0, 2.0]])
    times = share_capacity(paths, [0.0, 0.0], [1.0, 1.0], draws=[0, 1], caps_bps=1.0)
    assert_allclose(times, [np.inf, 1.0])


def test_ends_that_rounding_would_leave_open_still_end():
    """Late on the clock a millionth of a bit is less than the clock can tell."""
    paths = CapacityPaths.from_rates(np.full(10, 6e6))
    start = 9.87654321e6 + np.array([0.0, 0.1, 0.2])
    times = share_capacity(paths, start, [1e6 / 3, 1e6 / 7, 1e6], caps_bps=[1.1e6, 2.3e6, np.inf])
    assert_allclose(times, [1e6 / 3.3e6, 1e6 / 16.1e6, 0.20], rtol=0.2)


def capped_run(rate, cap, per_s, seed, n=6000):
    """Starts and times of exponential transfers of mean 1 that get `cap` at most."""
    rng = np.random.default_rng([13, seed])
    starts = np.cumsum(rng.exponential(1 / per_s, n))
    group = np.zeros(n, np.int64)
    paths = CapacityPaths.from_rates(np.full(10_000, rate))
    ends = capped_finish_s(paths, starts, rng.exponential(1.0, n), group, group, np.full(n, cap))
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
