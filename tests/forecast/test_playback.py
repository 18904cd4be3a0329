"""Streams: the wait before playing and the lateness of a live one, by hand and by small steps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.playback import SEGMENT_S, live_delay_s, start_delay_s
from linkfit.link.paths import CapacityPaths


def start_delay(rates, rate_bps, duration_s, start_s=0.0):
    paths = CapacityPaths.from_rates(rates)
    return start_delay_s(
        paths, np.array([start_s]), np.array([0]), rate_bps=rate_bps, duration_s=duration_s
    )[0]


@pytest.mark.parametrize(
    ("rates", "rate_bps", "duration_s", "expected_s"),
    [
        # twice the rate: the first segment of 6 s takes 3 s, then the buffer only grows
        ([2e6] * 600, 1e6, 120.0, 3.0),
        # just the rate: every segment arrives when the one before it has been played
        ([1e6] * 600, 1e6, 120.0, 6.0),
        # half the rate: 120 s of stream take 240 s, and the last 6 s segment begins at 114 s
        ([0.5e6] * 600, 1e6, 120.0, 126.0),
        # a short stream is one segment
        ([1e6] * 600, 1e6, 2.0, 2.0),
    ],
)
def test_waits_solved_by_hand(rates, rate_bps, duration_s, expected_s):
    assert_allclose(start_delay(rates, rate_bps, duration_s), expected_s, rtol=1e-9)


@given(
    st.lists(st.floats(1e5, 5e6), min_size=30, max_size=60),
    st.floats(1e5, 2e6),
    st.integers(2, 60),
)
def test_after_the_wait_playing_never_stalls_and_a_shorter_one_does(rates, rate_bps, n_segments):
    duration_s = n_segments * SEGMENT_S
    wait_s = start_delay(rates, rate_bps, duration_s)
    paths = CapacityPaths.from_rates(rates)
    plays_s = np.arange(n_segments) * SEGMENT_S
    needs = rate_bps * (plays_s + SEGMENT_S)
    have = paths.carried_bits(wait_s + plays_s)
    assert (have >= needs * (1 - 1e-9)).all()
    have_sooner = paths.carried_bits(wait_s * (1 - 1e-6) + plays_s)
    assert (have_sooner < needs).any()


def live_delay(rates, rate_bps, duration_s, moment_frac, start_s=0.0):
    paths = CapacityPaths.from_rates(rates)
    return live_delay_s(
        paths,
        np.array([start_s]),
        np.array([0]),
        rate_bps=rate_bps,
        duration_s=duration_s,
        moment_frac=np.array([moment_frac]),
    )[0]


def test_a_live_stream_below_the_capacity_is_not_late():
    assert live_delay([2e6] * 100, 1e6, 60.0, 0.5) == 0


def test_a_live_stream_falls_behind_by_what_an_outage_lasted_and_catches_up():
    rates = [2e6] * 10 + [0.0] * 5 + [2e6] * 45
    # at 15 s the bits of 5 s wait, 5 Mbit, which take 2.5 s; at 12 s those of 2 s wait, and
    # the link is away for 3 s more: 1 s for 2 Mbit after that
    assert_allclose(live_delay(rates, 1e6, 60.0, 15 / 61), 2.5, rtol=1e-9)
    assert_allclose(live_delay(rates, 1e6, 60.0, 12 / 61), 4.0, rtol=1e-9)
    assert live_delay(rates, 1e6, 60.0, 40 / 61) == 0


@given(
    st.lists(st.floats(0, 3e6), min_size=61, max_size=80), st.floats(1e5, 2e6), st.floats(0, 0.99)
)
def test_the_live_delay_agrees_with_lindleys_recursion(rates, rate_bps, moment_frac):
    rates = [*rates, 1e6]  # somewhere it moves
    step = int(moment_frac * 61)
    waiting = 0.0
    for rate in rates[:step]:
        waiting = max(waiting + rate_bps - rate, 0.0)
    paths = CapacityPaths.from_rates(rates)
    goal = paths.carried_bits(float(step)) + waiting
    expected = max(float(paths.time_at_bits_s(goal)) - step, 0.0)
    assert_allclose(live_delay(rates, rate_bps, 60.0, moment_frac), expected, atol=1e-5)


def test_a_stream_without_a_rate_is_refused():
    with pytest.raises(InputError, match=r"rate_bps: expected a finite number > 0, got 0"):
        start_delay([1e6], 0.0, 10.0)
    with pytest.raises(InputError, match=r"duration_s: expected a finite number > 0, got -1"):
        live_delay([1e6], 1e6, -1.0, 0.5)
