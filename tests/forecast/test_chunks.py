import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from linkfit.errors import InputError
from linkfit.forecast.chunks import best_piece_s, recommend_chunk_bytes
from tests.forecast.restart_theory import expected_time_s

USUAL = {"rate_bps": 5e6, "low_rate_bps": 1e6, "overhead_s": 0.06}


@pytest.mark.parametrize(
    ("limits", "high_bytes", "bound"),
    [
        # rules of common practice: 0.9 of the body limit; half of 5 % rate times timeout
        ({"body_limit_bytes": 100e6}, 90e6, "body limit"),
        ({"total_timeout_s": 60.0}, 1e6 / 8 * 60 / 2, "timeout"),
        ({"body_limit_bytes": 100e6, "total_timeout_s": 60.0}, 3.75e6, "timeout"),
        ({"item_bytes": 3.5e6}, 3.5e6, "item"),
        ({"breaks_per_h": 10.0}, 0.1 * 5e6 / 8 * 360, "breaks"),
    ],
)
def test_the_upper_end_is_the_smallest_limit(limits, high_bytes, bound):
    found = recommend_chunk_bytes(**USUAL, **limits)
    assert found.high_bytes == pytest.approx(high_bytes)
    assert found.bound == bound
    assert found.low_bytes == pytest.approx(1e6)
    assert found.low_bytes <= found.chunk_bytes <= found.high_bytes
    assert not found.tight


def test_long_waits_raise_the_lower_end_until_the_path_forbids():
    slow = recommend_chunk_bytes(rate_bps=20e6, low_rate_bps=5e6, overhead_s=0.6)
    assert slow.low_bytes == pytest.approx(0.6 * 20e6 / 8 / 0.05)
    tight = recommend_chunk_bytes(
        rate_bps=20e6, low_rate_bps=5e6, overhead_s=0.6, body_limit_bytes=10e6
    )
    assert tight.tight
    assert tight.low_bytes == tight.high_bytes == 9e6


def test_a_rate_too_low_for_a_megabyte_goes_below_it():
    found = recommend_chunk_bytes(
        rate_bps=128e3, low_rate_bps=64e3, overhead_s=0.1, total_timeout_s=60.0
    )
    assert found.high_bytes == pytest.approx(64e3 / 8 * 30)
    assert found.chunk_bytes <= found.high_bytes
    assert found.tight


@given(
    st.floats(1e4, 1e9),
    st.floats(0.01, 1.0),
    st.floats(0.0, 2.0),
    st.floats(1e3, 1e10),
    st.none() | st.floats(1e5, 1e9),
    st.none() | st.floats(1.0, 1e4),
    st.floats(0.0, 100.0),
)
def test_the_advice_keeps_every_limit(rate, low, wait, item, body, timeout, breaks):
    found = recommend_chunk_bytes(
        rate_bps=rate,
        low_rate_bps=rate * low,
        overhead_s=wait,
        item_bytes=item,
        body_limit_bytes=body,
        total_timeout_s=timeout,
        breaks_per_h=breaks,
    )
    assert 0 < found.low_bytes <= found.high_bytes
    assert found.low_bytes * (1 - 1e-9) <= found.chunk_bytes <= found.high_bytes * (1 + 1e-9)
    assert found.high_bytes <= item
    if body is not None:
        assert found.high_bytes <= 0.9 * body
    if timeout is not None:
        assert found.high_bytes * 8 <= rate * low * timeout / 2 * (1 + 1e-9)


def test_bad_numbers_are_named():
    with pytest.raises(InputError, match="low_rate_bps: expected a finite number > 0, got 0"):
        recommend_chunk_bytes(rate_bps=1e6, low_rate_bps=0, overhead_s=0.1)


DROPS_PER_S = 1 / (6 * 3600.0)


def test_the_best_piece_is_the_minimum_of_what_is_lost():
    found = minimize_scalar(
        lambda t: 2.0 / t + DROPS_PER_S * t / 2, bounds=(1, 1e4), method="bounded"
    )
    assert best_piece_s(2.0, DROPS_PER_S) == pytest.approx(found.x, rel=1e-3)
    assert best_piece_s(2.0, 0.0) == math.inf
    with pytest.raises(InputError, match="overhead_s: expected a finite number > 0, got 0"):
        best_piece_s(0.0, 1.0)


def test_the_best_piece_is_near_that_of_exact_restarts():
    # first order: good while a piece is short against the time between breaks
    sizes = np.linspace(50, 1000, 500)
    lost = [expected_time_s(size + 2.0, DROPS_PER_S) / size for size in sizes]
    assert best_piece_s(2.0, DROPS_PER_S) == pytest.approx(sizes[np.argmin(lost)], rel=0.05)
