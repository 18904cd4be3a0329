import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.long_paths import LongPaths
from linkfit.forecast.timeouts import (
    least_rate_bps,
    piece_times_s,
    timeout_advice,
    timeout_rows,
)
from linkfit.link.paths import CapacityPaths


def test_a_timeout_asks_for_a_rate():
    # 8 kB/s for half a minute is 240 kB: the least that one stack accepts (common practice)
    assert least_rate_bps(240e3, 30.0) == pytest.approx(64e3)
    with pytest.raises(InputError, match="timeout_s: expected a finite number > 0, got 0"):
        least_rate_bps(1.0, 0)


def test_times_of_a_constant_link_and_which_timeouts_they_pass(rng):
    paths = CapacityPaths.from_rates(np.full((3, 50), 1e6), 1.0, [0, 1, 2])
    long = LongPaths.join(paths, n_draws=30, timeout_s=60.0, rng=rng)
    times_s, world = piece_times_s(long, 8e6, rng)
    assert times_s == pytest.approx(np.full(120, 8.0))
    rows = timeout_rows(times_s, world, piece_bytes=1e6, timeouts_s=(30.0, 5.0, 30.0))
    assert [row.timeout_s for row in rows] == [5.0, 30.0]
    assert [row.passes.prob for row in rows] == [0.0, 1.0]
    advice = timeout_advice(paths, times_s, world)
    assert (advice.total_s, advice.idle_s, advice.outage) == (30.0, 30.0, None)
    assert advice.outages_per_day.quantile(0.95) == 0.0


def test_timeouts_outlast_slow_pieces_and_outages(rng):
    rates = np.full((2, 1000), 1e5)
    rates[:, 500:580] = 0.0
    paths = CapacityPaths.from_rates(rates, 1.0, [0, 1])
    times_s = np.full(100, 40.0)
    advice = timeout_advice(paths, times_s, np.repeat(np.arange(2, dtype=np.int32), 50))
    assert (advice.total_s, advice.idle_s) == (80.0, 80.0)
    assert advice.outages_per_day.quantile(0.5) == pytest.approx(86.4)
