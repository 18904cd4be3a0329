import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.items import items_per_s
from linkfit.forecast.parallel_uploads import best_parallel, lanes_rate_bps


@pytest.mark.parametrize("n_lanes", [1, 2, 5, 8])
def test_the_curve_is_the_closed_network(n_lanes):
    rates = np.array([0.0, 1e4, 3e5, 4.4e6, 9e7])
    found = lanes_rate_bps(rates, piece_bits=2.8e7, overhead_s=0.7, n_lanes=n_lanes)
    expected = items_per_s(rates, 2.8e7, 0.7, n_lanes) * 2.8e7
    assert_allclose(found, np.minimum(expected, rates), rtol=2e-3)


def test_small_files_move_at_the_pace_of_their_cost_alone():
    # 0.4 to 2.4 files a second at 0.4 to 2.4 s a file (common practice), one at a time
    for per_item_s, per_s in ((0.42, 2.4), (2.5, 0.4)):
        found = lanes_rate_bps(np.array([1e9]), piece_bits=8e3, overhead_s=per_item_s, n_lanes=1)
        assert found[0] / 8e3 == pytest.approx(per_s, rel=0.02)


def test_a_connection_that_cannot_fill_the_link_needs_company():
    rates = np.array([10e6])
    reached = [
        lanes_rate_bps(rates, piece_bits=1e8, overhead_s=0.0, n_lanes=n, lane_limit_bps=3e6)[0]
        for n in (1, 2, 3, 4, 5)
    ]
    assert_allclose(reached, [3e6, 6e6, 9e6, 10e6, 10e6])
    advice = best_parallel(item_bytes=1e9, rate_bps=10e6, overhead_s=0.0, lane_limit_bps=3e6)
    assert advice.n_lanes == 4


def test_large_files_go_one_by_one_and_small_ones_together():
    large = best_parallel(item_bytes=2e9, rate_bps=5e6, overhead_s=0.5)
    assert large.n_lanes == 1
    assert "each would end later" in large.why
    small = best_parallel(item_bytes=50e3, rate_bps=5e6, overhead_s=0.5)
    assert small.n_lanes == 8
    assert "more were not tried" in small.why
    middle = best_parallel(item_bytes=3.5e6, rate_bps=5e6, overhead_s=1.0)
    assert 1 < middle.n_lanes < 8
    assert "delay the first one" in middle.why


def test_the_timeout_bounds_lanes():
    free = best_parallel(item_bytes=1e6, rate_bps=5e6, overhead_s=4.0, low_rate_bps=5e5)
    held = best_parallel(
        item_bytes=1e6, rate_bps=5e6, overhead_s=4.0, low_rate_bps=5e5, total_timeout_s=35.0
    )
    assert free.n_lanes > 2
    assert held.n_lanes == 2  # two requests of 8 Mbit take 32 s at 0.5 Mbit/s, three 48 s
    assert "would not end within 35 s" in held.why


def test_no_more_lanes_than_items():
    assert best_parallel(item_bytes=5e4, rate_bps=5e6, overhead_s=1.0, n_items=3).n_lanes <= 3


def test_bad_numbers_are_named():
    with pytest.raises(InputError, match="rate_bps: expected a finite number > 0, got 0"):
        best_parallel(item_bytes=1e6, rate_bps=0, overhead_s=0.1)
