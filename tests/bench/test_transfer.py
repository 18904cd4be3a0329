"""Transfer times against the floor: one sorted look-up a transfer in the cumulative capacity.

The floor is the cheapest replay there is (no TCP at all): bits carried at the start by
interpolation, one `searchsorted` for the end. Ratios are taken in one run on one machine.
"""

import time

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.tcp import transfer_times_s
from linkfit.link.paths import CapacityPaths

N, DAY_S = 100_000, 86_400
SIZE_BYTES, RTT_S = 5e6, 0.05


@pytest.fixture(scope="module")
def day():
    rng = np.random.default_rng(5)
    noise = np.convolve(rng.standard_normal(DAY_S + 9), np.ones(10) / 10**0.5, "valid")
    return CapacityPaths.from_rates(4e6 * np.exp(0.5 * noise)), np.sort(rng.uniform(0, 86_000, N))


def replay_s(paths, starts_s, size_bytes):
    """Transfer times by capacity alone, starts sorted, inside one round of the path."""
    bits = paths.cumulative_bits[0]
    edges = np.arange(bits.size) * paths.step_s
    wanted = np.interp(starts_s, edges, bits) + size_bytes * 8
    index = np.searchsorted(bits, wanted, side="left")
    low, high = bits[index - 1], bits[index]
    return (index - 1 + (wanted - low) / (high - low)) * paths.step_s - starts_s


def best_of(n, call):
    times = []
    for _ in range(n):
        begin = time.perf_counter()
        call()
        times.append(time.perf_counter() - begin)
    return min(times)


def test_a_transfer_costs_a_few_plain_look_ups(benchmark, day):
    paths, starts_s = day
    benchmark(transfer_times_s, paths, starts_s, SIZE_BYTES, RTT_S)
    floor_s = best_of(7, lambda: replay_s(paths, starts_s, SIZE_BYTES))
    ours_s = best_of(7, lambda: transfer_times_s(paths, starts_s, SIZE_BYTES, RTT_S))
    print(f"\nfloor {floor_s / N * 1e9:.0f} ns, with TCP {ours_s / N * 1e9:.0f} ns a transfer: "
          f"{ours_s / floor_s:.1f} times")  # fmt: skip
    assert ours_s < 5 * floor_s  # 2.3 to 3.7 measured; the aim is 3
    # the same physics where the round trip vanishes
    bare = transfer_times_s(paths, starts_s, SIZE_BYTES, 0.0, handshake_round_trips=0)
    assert_allclose(bare, replay_s(paths, starts_s, SIZE_BYTES * 1500 / 1448), rtol=1e-9)
