"""BBR round by round on a constant link: its modes, its pace and its pauses."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.tcp_bbr import STARTUP_GAIN, RateControl
from linkfit.forecast.tcp_windows import Round
from linkfit.link.paths import CapacityPaths

RTT_S, RATE = 0.1, 500.0  # packets a second: 50 under way


class ConstantLink:
    """The queue of one link, as the rounds of a transfer see it."""

    def __init__(self):
        self.now_s, self.free_s, self.last_answer_s = 0.0, 0.0, 0.0
        self.control = RateControl(
            n=1, first_packets=10, most_packets=np.inf, rtt_s=np.array([RTT_S])
        )

    def go(self):
        begin_s = max(self.now_s, self.free_s)
        next_s = begin_s + 1 / RATE + RTT_S
        send, last_s = self.control.plan(
            np.array([self.now_s]), np.array([next_s]), np.array([self.last_answer_s]),
            np.array([[1e9]]),
        )  # fmt: skip
        n = float(send[0, 0])
        self.free_s = max(begin_s + n / RATE, float(last_s[0]) + 1 / RATE)
        span_s = self.free_s - begin_s - 1 / RATE
        wait_s = begin_s - self.now_s
        self.control.learn(
            Round(
                start_s=np.array([self.now_s]), next_s=np.array([next_s]),
                rtt_s=np.array([RTT_S]), early_wait_s=np.array([wait_s]),
                span_s=np.array([span_s]), gap_s=np.array([1 / RATE]),
                sent=send, before=send, hurt=np.zeros((1, 1), dtype=bool),
                limited=np.zeros(1, dtype=bool),
            )
        )  # fmt: skip
        self.now_s, self.last_answer_s = next_s, self.free_s + RTT_S
        return n, wait_s


def test_start_up_doubles_until_the_link_is_full_and_finds_its_rate():
    link = ConstantLink()
    assert [link.go()[0] for _ in range(3)] == [10, 20, 40]
    assert link.control.mode[0] == 0
    while link.control.mode[0] == 0:
        sent, _ = link.go()
        # the window stops at 2/ln 2 = 2.885 bandwidth-delay products (value from memory)
        assert sent <= STARTUP_GAIN * RATE * (RTT_S + 1 / RATE) + 8
    assert link.control.rates.max() == pytest.approx(RATE, rel=0.05)


def test_start_up_ends_and_the_queue_drains_within_a_second():
    link = ConstantLink()
    while link.control.mode[0] != 2:
        link.go()
        assert link.now_s < 3.0
    # a fast phase goes on until a quarter of the 0.1 s path and 8 packets more are under way; it
    # learns so a round late, and so queues twice that quarter and the packets at most
    assert max(link.go()[1] for _ in range(16)) < 0.05 + 16 / RATE


def test_every_ten_seconds_it_rests_for_two_tenths():
    # draft-ietf-ccwg-bbr: a pause of 200 ms each 10 s (its first version: 4 packets)
    link = ConstantLink()
    rested = []
    while link.now_s < 45:
        sent, _ = link.go()
        if sent <= 4:
            rested.append(link.now_s)
    starts = [rested[0], *(b for a, b in pairwise(rested) if b - a > 1)]
    assert len(starts) == 4
    assert_allclose(np.diff(starts), 10.5, atol=0.8)


def test_a_long_transfer_costs_a_few_percent_of_the_capacity():
    paths = CapacityPaths.from_rates([RATE * 12000])
    size_bytes = 20e6
    floor_s = size_bytes * 1500 / 1448 * 8 / (RATE * 12000)
    time_s = transfer_times_s(paths, [0.0], size_bytes, RTT_S, congestion="bbr")[0]
    assert floor_s * 1.005 < time_s < floor_s * 1.05


def test_a_faster_link_is_found_step_by_step():
    # a quarter more every eight rounds: after a step from 1 to 8 Mbit/s it lags behind CUBIC
    paths = CapacityPaths.from_rates([1e6] * 5 + [8e6] * 20)
    bbr_s, cubic_s = (
        transfer_times_s(paths, [0.0], 6e6, RTT_S, congestion=name)[0] for name in ("bbr", "cubic")
    )
    assert cubic_s + 0.5 < bbr_s < cubic_s * 1.6


def test_take_keeps_the_chosen():
    control = RateControl(n=2, first_packets=10, most_packets=np.inf, rtt_s=np.array([0.1, 0.2]))
    control.take(np.array([False, True]))
    assert_allclose(control.rtt_s, [0.2])
    assert control.rates.shape == (1, 10)


def test_a_round_with_little_to_send_leaves_the_rate_alone():
    link = ConstantLink()
    [link.go() for _ in range(40)]
    link.control.n_before[:] = 1.0  # the round before was small too
    before = link.control.rates.copy()
    link.control.learn(
        Round(
            start_s=np.array([50.0]), next_s=np.array([50.0 + RTT_S]), rtt_s=np.array([RTT_S]),
            early_wait_s=np.zeros(1), span_s=np.zeros(1), gap_s=np.zeros(1),
            sent=np.ones((1, 1)), before=np.ones((1, 1)), hurt=np.zeros((1, 1), dtype=bool),
            limited=np.ones(1, dtype=bool),
        )
    )  # fmt: skip
    assert_array_equal(link.control.rates, before)
