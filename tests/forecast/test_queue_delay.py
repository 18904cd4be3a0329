"""The queue before the link: by hand, against the recursion in plain steps, and its order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.queue_delay import (
    largest_added_queue_bits,
    largest_queue_bits,
    queue_bits,
    shares_in_time,
    wait_s,
    warm_up_steps,
)
from linkfit.link.paths import CapacityPaths

rates = st.lists(st.one_of(st.just(0.0), st.floats(1e5, 5e6)), min_size=40, max_size=60)


@pytest.mark.parametrize(
    ("rates", "offered_bps", "buffer_bits", "expected"),
    [
        # below the capacity nothing waits
        ([2e6] * 4, 1e6, 1e9, [0, 0, 0, 0]),
        # an outage of two seconds fills, then it drains at 1 Mbit/s
        ([2e6, 0, 0, 2e6, 2e6], 1e6, 1e9, [0, 0, 1e6, 2e6, 1e6]),
        # the buffer holds 1.5 Mbit, the rest is dropped
        ([2e6, 0, 0, 2e6, 2e6], 1e6, 1.5e6, [0, 0, 1e6, 1.5e6, 0.5e6]),
        # who always has more keeps it full
        ([2e6, 1e6, 3e6], np.inf, 4e5, [0, 4e5, 4e5]),
    ],
)
def test_cases_solved_by_hand(rates, offered_bps, buffer_bits, expected):
    paths = CapacityPaths.from_rates(rates)
    assert_allclose(queue_bits(paths, offered_bps, buffer_bits), [expected])


@given(rates, st.floats(0, 4e6), st.floats(0, 1e7))
def test_it_agrees_with_the_recursion_taken_step_by_step(rates, offered_bps, buffer_bits):
    waiting, expected = 0.0, []
    for rate in rates:
        expected.append(waiting)
        waiting = min(max(waiting + offered_bps - rate, 0.0), buffer_bits)
    found = queue_bits(CapacityPaths.from_rates(rates), offered_bps, buffer_bits)
    assert_allclose(found[0], expected, atol=1e-3)


def test_a_packet_waits_for_the_buffer_over_the_rate():
    paths = CapacityPaths.from_rates([2e6] * 50)
    waits = wait_s(paths, [3.0, 4.5], 0, [5e5, 0.0], 2e3)
    assert_allclose(waits, [(5e5 + 2e3) / 2e6, 1e-3])


def test_an_outage_delays_the_packet_but_is_no_added_delay():
    paths = CapacityPaths.from_rates([1e6] * 5 + [0.0] * 5 + [1e6] * 30)
    assert wait_s(paths, 6.0, 0, 0.0, 1e3) == pytest.approx(4.001)
    added = largest_added_queue_bits(paths, 0.1, 1e3)[0]
    assert_allclose(added[[0, 6]], [1e5, 1e5])  # a tenth of a second of 1 Mbit/s either way
    whole = largest_queue_bits(paths, 0.1, 1e3)[0]
    assert whole[0] == pytest.approx(99e3)
    assert whole[6] < 0


def test_a_row_that_carries_nothing_is_late_and_blames_no_queue():
    paths = CapacityPaths.from_rates(np.zeros(20))
    assert (largest_queue_bits(paths, 0.1, 1e3) < 0).all()
    assert np.isinf(largest_added_queue_bits(paths, 0.1, 1e3)).all()


@given(rates, st.floats(1e5, 4e6), st.floats(1e4, 1e7), st.floats(0.01, 3.0))
@settings(max_examples=40)
def test_room_and_wait_say_the_same(rates, offered_bps, buffer_bits, within_s):
    paths = CapacityPaths.from_rates([*rates, 1e6])
    waiting = queue_bits(paths, offered_bps, buffer_bits)
    waits = wait_s(paths, np.arange(paths.n_steps) * 1.0, 0, waiting[0], 1e4)
    fits = waiting[0] <= largest_queue_bits(paths, within_s, 1e4)[0]
    clear = np.abs(waits - within_s) > 1e-6
    assert (fits == (waits <= within_s))[clear].all()


def test_shares_count_moments_and_fall_with_the_rate(rng):
    paths = CapacityPaths.from_rates(rng.lognormal(np.log(2e6), 0.5, (6, 400)))
    room = largest_queue_bits(paths, 0.3, 1e4)
    offered = np.array([0.0, 5e5, 1e6, 2e6, np.inf])
    found = shares_in_time(paths, room, offered, 5e6)
    assert found.shape == (5, 6)
    assert (np.diff(found, axis=0) <= 0).all()
    one = queue_bits(paths, 1e6, 5e6) <= room
    assert_allclose(found[2], one[:, warm_up_steps(paths) :].mean(axis=1))


@given(rates, st.floats(1e5, 3e6), st.floats(1e5, 1e6))
@settings(max_examples=30)
def test_a_smaller_buffer_or_a_faster_link_never_delays_more(rates, offered_bps, buffer_bits):
    paths = CapacityPaths.from_rates(rates)
    here = queue_bits(paths, offered_bps, buffer_bits)
    assert (queue_bits(paths, offered_bps, buffer_bits / 2) <= here + 1e-6).all()
    assert (queue_bits(paths.scaled(2.0), offered_bps, buffer_bits) <= here + 1e-6).all()


def test_bad_input_is_named_and_shown():
    paths = CapacityPaths.from_rates([1e6] * 8)
    with pytest.raises(InputError, match="offered_bps: expected numbers >= 0, got -1"):
        queue_bits(paths, -1.0, 1e6)
    with pytest.raises(InputError, match=r"buffer_bits: expected finite numbers >= 0, got -2"):
        queue_bits(paths, 1.0, -2.0)
    with pytest.raises(InputError, match=r"room_bits: expected shape \(1, 8\), got \(1, 3\)"):
        shares_in_time(paths, np.zeros((1, 3)), [1.0], 1e6)
