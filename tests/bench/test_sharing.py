"""Sharing against the floor: the plain heap of processor sharing, in the same run."""

import heapq
import time

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.priority import leave_clock_by_priority
from linkfit.forecast.sharing import FlowClass
from linkfit.forecast.tagged import simulate_tagged
from linkfit.link.paths import CapacityPaths
from tests.forecast.sharing_history import share_capacity

N = 20_000


def plain_heap(arrive, size):
    """Processor sharing at unit rate with nothing around it: departures."""
    leave, present, now, virtual = [0.0] * len(arrive), [], 0.0, 0.0
    for index, arrival in enumerate(arrive):
        while present and now + (present[0][0] - virtual) * len(present) <= arrival:
            goal, first = heapq.heappop(present)
            now += (goal - virtual) * (len(present) + 1)
            virtual = goal
            leave[first] = now
        if present:
            virtual += (arrival - now) / len(present)
        now = arrival
        heapq.heappush(present, (virtual + size[index], index))
    while present:
        goal, first = heapq.heappop(present)
        now += (goal - virtual) * (len(present) + 1)
        virtual = goal
        leave[first] = now
    return leave


@pytest.fixture(scope="module")
def jobs():
    rng = np.random.default_rng(2)
    return np.cumsum(rng.exponential(1 / 0.7, N)), rng.lognormal(-0.5, 1.0, N)


def best_of(n, call):
    times = []
    for _ in range(n):
        begin = time.process_time()  # what else runs here takes no part
        call()
        times.append(time.process_time() - begin)
    return min(times)


def test_a_shared_transfer_costs_at_most_three_plain_heap_events(benchmark, jobs):
    """200 rows of an hour of seconds, with the way to the capacity clock and back."""
    starts, sizes = jobs
    rng = np.random.default_rng(3)
    paths = CapacityPaths.from_rates(rng.gamma(4.0, 0.25, (200, 3600)))
    rows = np.repeat(np.arange(200), N // 200)
    at = starts - np.repeat(starts[:: N // 200], N // 200)
    times = benchmark(share_capacity, paths, at, sizes, draws=rows)
    assert (times > 0).all()
    arrive, size = starts.tolist(), sizes.tolist()
    floor_s = best_of(5, lambda: plain_heap(arrive, size))
    ours_s = best_of(5, lambda: share_capacity(paths, at, sizes, draws=rows))
    assert ours_s < 3 * floor_s, f"{ours_s / floor_s:.1f} x the plain heap"


def test_the_floor_computes_the_same(jobs):
    starts, sizes = jobs
    times = share_capacity(CapacityPaths.from_rates(np.ones(10)), starts, sizes)
    floor = np.array(plain_heap(starts.tolist(), sizes.tolist())) - starts
    assert_allclose(times, floor, rtol=1e-7, atol=1e-7)


def test_two_priorities_cost_at_most_three_plain_heap_events(jobs):
    starts, sizes = jobs
    group = np.zeros(N, np.int64)
    low = np.random.default_rng(4).random(N) < 0.5
    arrive, size = starts.tolist(), sizes.tolist()
    floor_s = best_of(5, lambda: plain_heap(arrive, size))
    ours_s = best_of(5, lambda: leave_clock_by_priority(starts, sizes, group, low))
    assert ours_s < 3 * floor_s, f"{ours_s / floor_s:.1f} x the plain heap"


def test_a_run_among_its_company_costs_at_most_three_plain_heap_events():
    """With the draws of the company, the way to the capacity clock and back: runs of all sizes."""
    paths = CapacityPaths.from_rates(np.full((200, 3600), 1e6))
    flows = [FlowClass(name=n, arrivals_per_s=3.5, median_bits=1e5) for n in ("a", "b")]
    tagged = FlowClass(name="t", arrivals_per_s=0.0, median_bits=1e6)

    def run():
        simulate_tagged(paths, tagged, flows, rng=np.random.default_rng(5), n_probes=400)

    # transfers around 400 runs: the minute before each, and twice the 3.3 s that it lasts
    n_around = 400 * 7 * 67
    rng = np.random.default_rng(6)
    arrive = np.cumsum(rng.exponential(1 / 0.7, n_around)).tolist()
    floor_s = best_of(5, lambda: plain_heap(arrive, [1.0] * n_around))
    ours_s = best_of(5, run)
    print(f"{ours_s / floor_s:.1f} x the plain heap")
    assert ours_s < 3 * floor_s
