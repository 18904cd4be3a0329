"""Equal sharing of the capacity: against theory, another simulator, a step-by-step walk."""

import ciw
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import InputError
from linkfit.forecast.capped import capped_sharing
from linkfit.forecast.sharing import (
    Beside,
    FlowClass,
    busy_periods,
    leave_clock,
    processor_sharing,
    sharing_beside,
    spread_rows,
)
from linkfit.link.paths import CapacityPaths
from tests.forecast.sharing_history import share_capacity, simulate_sharing, warm_up_s

RATE_BPS = 1e6
CONSTANT = CapacityPaths.from_rates(np.full(100, RATE_BPS))

rates_st = st.lists(st.integers(0, 5), min_size=2, max_size=8).filter(any)
jobs_st = st.lists(
    st.tuples(st.integers(0, 40), st.integers(1, 30)), min_size=1, max_size=8
)  # start in half seconds, bits


def flow(rho, spread=1.0, mean_bits=5e5, name="a"):
    median = mean_bits / np.exp(np.log(spread) ** 2 / 2)
    return FlowClass(
        name=name, arrivals_per_s=rho * RATE_BPS / mean_bits, median_bits=median, spread=spread
    )


def walk_s(rates, starts, sizes, dt=1e-3):
    """Times by many small steps: each step splits its bits equally among who is there."""
    left, ends = np.array(sizes, float), np.full(len(sizes), np.nan)
    starts, now = np.array(starts, float), 0
    while np.isnan(ends).any():
        there = (starts <= now * dt + 1e-12) & np.isnan(ends)
        if there.any():
            left[there] -= rates[int(now * dt) % len(rates)] * dt / there.sum()
        now += 1
        ends[there & (left <= 0)] = now * dt
    return ends - starts


@settings(max_examples=30, deadline=None)
@given(rates_st, jobs_st)
def test_agrees_with_a_walk_in_small_steps(rates, jobs):
    starts, sizes = np.array([s / 2 for s, _ in jobs]), np.array([float(b) for _, b in jobs])
    times = share_capacity(CapacityPaths.from_rates(rates), starts, sizes)
    slow = walk_s(rates, starts, sizes, dt=5e-3)
    # the walk lags a step at each end; an outage multiplies a lag by its length
    settled = np.abs(times - slow) < 5e-3 * (2 + 4 * len(jobs))
    jumps = np.array([0 in rates] * len(jobs))
    assert (settled | jumps).all()


@pytest.mark.parametrize(("starts", "sizes", "expected"), [
    ([0.0], [1e6], [1.0]),  # alone
    ([0.0, 0.0], [1e6, 1e6], [2.0, 2.0]),  # twins halve the rate
    ([0.0, 0.5], [1e6, 0.25e6], [1.25, 0.5]),  # a short one comes and goes
    ([5.0, 0.0], [1e6, 1e6], [1.0, 1.0]),  # any order, never together
])  # fmt: skip
def test_cases_solved_by_hand(starts, sizes, expected):
    assert_allclose(share_capacity(CONSTANT, starts, sizes), expected)


def test_an_outage_holds_all_up_and_lets_them_go_on():
    paths = CapacityPaths.from_rates([1e6, 0.0, 0.0, 1e6])
    assert_allclose(share_capacity(paths, [0.0, 0.0], [1e6, 0.4e6]), [3.4, 0.8])
    assert_array_equal(share_capacity(CapacityPaths.from_rates([0.0, 0.0]), [1.0], [5.0]), np.inf)


@settings(deadline=None)
@given(rates_st, jobs_st, st.integers(0, 40), st.integers(1, 30))
def test_one_more_transfer_never_helps_the_others(rates, jobs, start, size):
    paths = CapacityPaths.from_rates(rates)
    starts = np.array([s / 2 for s, _ in jobs] + [start / 2])
    sizes = np.array([float(b) for _, b in jobs] + [float(size)])
    before = share_capacity(paths, starts[:-1], sizes[:-1])
    assert (share_capacity(paths, starts, sizes)[:-1] >= before - 1e-6).all()


@settings(deadline=None)
@given(rates_st, jobs_st)
def test_capacity_is_conserved_and_not_left_idle(rates, jobs):
    paths = CapacityPaths.from_rates(rates)
    starts = np.array([s / 2 for s, _ in jobs])
    sizes = np.array([float(b) for _, b in jobs])
    ends = starts + share_capacity(paths, starts, sizes)
    order = np.argsort(starts)
    # a work-conserving server empties at the same moment whatever the discipline (Lindley)
    clock = 0.0
    for start, bits in zip(starts[order], sizes[order], strict=True):
        clock = max(clock, float(paths.carried_bits(start))) + bits
    last = ends.max()
    assert_allclose(paths.carried_bits(last), clock, rtol=1e-9, atol=1e-6)


@given(jobs_st, st.floats(1e-3, 1e3))
def test_scale_free(jobs, factor):
    starts = np.array([s / 2 for s, _ in jobs])
    sizes = np.array([float(b) for _, b in jobs])
    rates = np.array([3.0, 1.0, 4.0])
    times = share_capacity(CapacityPaths.from_rates(rates), starts, sizes)
    scaled = share_capacity(CapacityPaths.from_rates(rates * factor), starts, sizes * factor)
    assert_allclose(scaled, times, rtol=1e-6, atol=1e-6)


def test_a_busy_period_ends_when_nothing_is_under_way():
    clock, bits = np.array([0.0, 1.0, 5.0, 6.0, 6.5, 0.0, 9.0]), np.array([2.0, 1, 1, 1, 4, 9, 1])
    group = np.array([0, 0, 0, 0, 0, 1, 1])
    period = busy_periods(clock, bits, group)
    # the first two overlap; at 6 and at 9 one begins where another ends
    assert period[0] == period[1] < period[2] <= period[3] == period[4] < period[5] <= period[6]
    assert busy_periods(np.empty(0), np.empty(0), np.empty(0, np.int64)).size == 0


@settings(max_examples=60, deadline=None)
@given(st.lists(jobs_st, min_size=1, max_size=4))
def test_what_is_outside_its_busy_period_is_not_felt(groups):
    rows = sorted((g, *job) for g, jobs in enumerate(groups) for job in jobs)
    group, clock, bits = np.array(rows, float).T
    group = group.astype(np.int64)
    period = busy_periods(clock, bits, group)
    assert_allclose(leave_clock(clock, bits, group), leave_clock(clock, bits, period), atol=1e-9)


def beside(n_streams, taken_frac, live_frac=0.0):
    one = np.ones(1)
    return Beside(live_frac=one * live_frac, taken_frac=one * taken_frac, n_streams=one * n_streams)


@settings(max_examples=60, deadline=None)
@given(jobs_st)
def test_beside_no_stream_it_is_equal_sharing(jobs):
    arrive, size = (list(column) for column in np.array(sorted(jobs), float).T)
    factors = np.repeat(beside(0.0, 0.0).factors(), len(size), axis=0).tolist()
    assert_allclose(sharing_beside(arrive, size, factors), processor_sharing(arrive, size))


@settings(max_examples=60, deadline=None)
@given(jobs_st, st.integers(1, 4), st.floats(0.05, 0.9))
def test_streams_beside_get_what_capped_transfers_without_end_get(jobs, n_streams, rate_frac):
    arrive, size = np.array(sorted(jobs), float).T
    streams = beside(n_streams, n_streams * rate_frac)
    factors = np.repeat(streams.factors(), size.size, axis=0).tolist()
    found = sharing_beside(arrive.tolist(), (size / streams.own_frac).tolist(), factors)
    endless = [1e9] * n_streams
    every = capped_sharing(
        [0.0] * n_streams + arrive.tolist(), endless + size.tolist(),
        [rate_frac] * n_streams + [1.0] * size.size, [False] * (n_streams + size.size),
    )  # fmt: skip
    assert_allclose(found, every[n_streams:], rtol=1e-6, atol=1e-6)


def test_a_live_stream_keeps_its_rate_and_another_makes_way():
    assert_allclose(beside(2, 1.2).own_frac, 1 / 3)
    assert_allclose(beside(2, 0.4).own_frac, 0.6)
    assert_allclose(beside(2, 1.2, 0.7).own_frac, 0.1)


def test_rows_do_not_mix():
    paths = CapacityPaths.from_rates([[1e6] * 3, [2e6] * 3])
    assert_allclose(share_capacity(paths, [0, 0, 0], [1e6, 1e6, 2e6], draws=[0, 0, 1]), [2, 2, 1])


def test_agrees_with_ciw_job_by_job():
    rng = np.random.default_rng(8)
    gaps, sizes = rng.exponential(1.0, 300), rng.lognormal(-0.6, 0.8, 300)
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Sequential([*gaps.tolist(), np.inf])],
        service_distributions=[ciw.dists.Sequential(sizes.tolist())],
        number_of_servers=[float("inf")],
        ps_thresholds=[1],
    )
    simulation = ciw.Simulation(network, node_class=ciw.PSNode)
    simulation.simulate_until_max_time(1e4)
    records = sorted(simulation.get_all_records(), key=lambda record: record.arrival_date)
    theirs = [record.exit_date - record.arrival_date for record in records]
    ours = share_capacity(CapacityPaths.from_rates(np.ones(10)), np.cumsum(gaps), sizes)
    assert len(theirs) == 300
    assert_allclose(ours, theirs, rtol=1e-8, atol=1e-8)


# M/G/1-PS: mean time of a job of size x is x / (1 - rho) whatever the law of sizes
# (Kleinrock, Queueing Systems vol. 2, 1976, section 4.4, value from memory)
@pytest.mark.slow
@pytest.mark.parametrize("law", ["deterministic", "exponential", "lognormal"])
@pytest.mark.parametrize("rho", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_mean_time_is_that_of_processor_sharing_whatever_the_sizes(rho, law):
    n, n_batches, warm = (12_000 if rho < 0.8 else 40_000), 16, 3000
    means = []
    for batch in range(n_batches):
        rng = np.random.default_rng([31, batch])
        sizes = {
            "deterministic": np.ones(n),
            "exponential": rng.exponential(1.0, n),
            "lognormal": rng.lognormal(-0.32, 0.8, n),
        }[law] * 1e6
        times = share_capacity(CONSTANT, np.cumsum(rng.exponential(1 / rho, n)), sizes)
        # time by bits: the scatter of the sizes themselves goes out
        means.append(times[warm:].sum() / sizes[warm:].sum() * 1e6)
    error = np.std(means, ddof=1) / np.sqrt(n_batches)
    assert abs(np.mean(means) - 1 / (1 - rho)) < 3 * error
    assert error < 0.06 / (1 - rho)


def test_mean_time_of_mm1_ps_as_ciw_states_it():
    """lambda 3, mu 5: mean 1 / (mu - lambda) = 0.5 (ciw tests/testprocessor_sharing.py)."""
    rng = np.random.default_rng(6)
    n = 60_000
    starts = np.cumsum(rng.exponential(1 / 3, n))
    times = share_capacity(
        CapacityPaths.from_rates(np.full(10, 5.0)), starts, rng.exponential(1, n)
    )
    batches = times.reshape(30, -1).mean(axis=1)
    assert abs(batches.mean() - 0.5) < 5 * batches.std(ddof=1) / np.sqrt(30)


def test_classes_keep_their_rates_and_the_result_fits_together():
    classes = [flow(0.2, name="a"), flow(0.3, mean_bits=2e6, name="b")]
    paths = CapacityPaths.from_rates(np.full((20, 600), RATE_BPS), world=np.arange(20) % 5)
    result = simulate_sharing(paths, classes, rng=np.random.default_rng(1), n_jobs=5000)
    share = np.mean(result.class_index == 0)
    expected = classes[0].arrivals_per_s / sum(c.arrivals_per_s for c in classes)
    assert abs(share - expected) < 5 * np.sqrt(expected * (1 - expected) / 5000)
    assert abs(result.bits.size - 5000) < 5 * np.sqrt(5000)
    assert (result.added_s >= 0).all()
    assert_allclose(result.alone_s, result.bits / RATE_BPS)
    only_b = result.of_class(1)
    assert_allclose(only_b.bits, 2e6)
    assert set(np.unique(paths.world[result.draw])) == set(range(5))


def test_a_dead_path_gives_never_and_no_company_cost():
    dead = CapacityPaths.from_rates(np.zeros(50))
    result = simulate_sharing(dead, [flow(0.3)], rng=np.random.default_rng(1), n_jobs=50)
    assert np.isinf(result.time_s).all()
    assert_array_equal(result.added_s, 0.0)


def test_overload_lasts_for_the_busy_hour_only():
    result = simulate_sharing(CONSTANT, [flow(1.5)], rng=np.random.default_rng(1), n_jobs=500)
    longer = simulate_sharing(
        CONSTANT, [flow(1.5)], rng=np.random.default_rng(1), n_jobs=500, busy_s=7200.0
    )
    assert np.isfinite(result.time_s).all()
    assert np.median(longer.time_s) > np.median(result.time_s) > 100


def test_warm_up_grows_with_load_and_stops_at_the_busy_hour():
    assert warm_up_s(CONSTANT, []) == 0
    assert warm_up_s(CONSTANT, [flow(0.2)]) < warm_up_s(CONSTANT, [flow(0.8)])
    assert warm_up_s(CONSTANT, [flow(1.2)], busy_s=900.0) == 900
    # 3 E[S^2] / (2 E[S] (1 - rho)^2) with S = 0.5 s and rho = 0.5
    assert_allclose(warm_up_s(CONSTANT, [flow(0.5)]), 3 * 0.5 / (2 * 0.25))


@pytest.mark.parametrize("world", [np.arange(12) % 4, np.arange(12) // 3])
def test_rows_in_use_come_from_all_worlds_in_turn(world):
    paths = CapacityPaths.from_rates(np.ones((12, 3)), world=world)
    assert sorted(world[spread_rows(paths, 4)]) == [0, 1, 2, 3]
    assert sorted(spread_rows(paths, 12)) == list(range(12))


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"finite sizes > 0, got a start of 0 s and a size of 0 "):
        share_capacity(CONSTANT, [0.0], [0.0])
    with pytest.raises(InputError, match=r"geometric standard deviation >= 1, got 0.5"):
        FlowClass(name="a", arrivals_per_s=1.0, median_bits=1.0, spread=0.5)
    with pytest.raises(InputError, match=r"classes: expected arrivals .*, got 0 per second"):
        simulate_sharing(CONSTANT, [flow(0.0)], rng=np.random.default_rng(1))
