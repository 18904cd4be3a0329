"""Transfers walked window by window: conservation, drops, losses, timeouts, bursts."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.tcp_rounds import Conditions, delivered_in_rounds_s
from linkfit.link.paths import CapacityPaths
from tests.forecast.tcp_theory import (
    cubic_window_packets,
    inverse_root_rate_bps,
    renewal_rate_bps,
    reno_window_packets,
)

PACKET_BITS = 12000.0
PACKETS = 1448.0  # bytes of payload in one


def walked_s(paths, n_packets, *, n=1, rtt_s=0.1, begins_s=0.0, seed=0, **more):
    conditions = {
        "packet_bits": PACKET_BITS, "buffer_bits": 1e12, "congestion": "reno", "n_flows": 1,
        "loss_frac": 0.0, "loss_burst_packets": 1.0, "first_packets": 10,
        "most_packets": math.inf, "hold_s": math.inf,
    } | more  # fmt: skip
    return delivered_in_rounds_s(
        paths,
        np.zeros(n, dtype=int),
        np.full(n, begins_s),
        np.full(n, float(n_packets)),
        np.full(n, rtt_s),
        Conditions(**conditions),
        np.random.default_rng(seed),
    )


def test_rounds_and_the_closed_form_agree_where_both_hold():
    paths = CapacityPaths.from_rates([5e6, 9e6, 2e6, 6e6])
    for n_packets in (1, 25, 300, 5000):
        closed_s = transfer_times_s(
            paths, [0.0], n_packets * PACKETS, 0.1, buffer_bytes=1e7,
            handshake_round_trips=0, congestion="reno",
        )  # fmt: skip
        assert_allclose(walked_s(paths, n_packets), closed_s, rtol=1e-3)


@settings(max_examples=60, deadline=None)
@given(
    rates=st.lists(st.sampled_from([0.0, 3e5, 2e6, 2e7]), min_size=1, max_size=6),
    n_packets=st.integers(1, 3000),
    rtt_s=st.sampled_from([0.0, 0.02, 0.3]),
    buffer_kb=st.sampled_from([5, 75, 1500]),
    congestion=st.sampled_from(["reno", "cubic", "bbr"]),
)
def test_never_faster_than_the_capacity(rates, n_packets, rtt_s, buffer_kb, congestion):
    paths = CapacityPaths.from_rates([*rates, 1e6])
    answered_s = walked_s(
        paths, n_packets, rtt_s=rtt_s, congestion=congestion, buffer_bits=buffer_kb * 8e3
    )
    floor_s = paths.time_at_bits_s(n_packets * PACKET_BITS) + rtt_s
    assert answered_s[0] >= floor_s - 1e-9
    assert np.isfinite(answered_s[0])


@pytest.mark.parametrize("congestion", ["reno", "cubic"])
def test_a_shallow_buffer_leaves_the_link_idle(congestion):
    paths = CapacityPaths.from_rates([2e7, 2e6] * 10, 0.3)
    times_s = [
        walked_s(paths, 20_000, congestion=congestion, buffer_bits=8 * kb * 1000)[0]
        for kb in (15, 150, 3000)
    ]
    floor_s = float(paths.time_at_bits_s(20_000 * PACKET_BITS))
    assert times_s[0] > 1.2 * times_s[1]
    assert times_s[1] > times_s[2]
    assert times_s[2] == pytest.approx(floor_s, rel=0.1)


def test_the_receiver_window_sets_the_rate():
    # RFC 6349 section 3.3.1: window over round trip
    paths = CapacityPaths.from_rates([1e8])
    n_packets, window = 5000, 40
    time_s = walked_s(paths, n_packets, most_packets=window, rtt_s=0.1)[0]
    assert time_s == pytest.approx(n_packets / window * 0.1, rel=0.03)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("congestion", "loss_frac"), [("reno", 0.01), ("cubic", 0.01), ("cubic", 1e-3)]
)
def test_steady_rate_under_loss_against_the_mean_window(congestion, loss_frac):
    # RFC 9438 section 5.1 gives the mean window; it ignores recovery and whole packets: 20 %
    rtt_s, n_first, n_more = 0.1, 15_000, 10_000  # what slow start did has worn off by then
    paths = CapacityPaths.from_rates([1e9])
    first_s, all_s = (
        walked_s(paths, n, n=25, rtt_s=rtt_s, congestion=congestion, loss_frac=loss_frac).mean()
        for n in (n_first, n_first + n_more)
    )
    window = n_more / ((all_s - first_s) / rtt_s)
    mean_window = reno_window_packets(loss_frac)
    if congestion == "cubic":
        mean_window = cubic_window_packets(loss_frac, rtt_s)
    assert window == pytest.approx(float(mean_window), rel=0.2)


def test_what_is_left_after_many_rounds_goes_on_without_the_slow_start():
    # RFC 9438 section 5.1, table 1: 38 packets at a loss of 1e-3 and 0.1 s; slow start had more
    paths = CapacityPaths.from_rates([1e10])
    time_s = walked_s(paths, 400_000, n=50, rtt_s=0.1, congestion="cubic", loss_frac=1e-3).mean()
    assert 400_000 / (time_s / 0.1) == pytest.approx(38.0, rel=0.1)


@pytest.mark.parametrize("loss_frac", [0.003, 0.01, 0.03])
def test_reno_under_loss_against_renewal_theory(loss_frac):
    # every packet is answered, losses are repaired without a timeout: renewal theory with its
    # timeouts is a floor, the inverse root of loss (C = 1.31 for random losses) a ceiling
    rtt_s, n_first, n_more = 0.1, 4_000, 4_000
    paths = CapacityPaths.from_rates([1e9])
    first_s, all_s = (
        walked_s(paths, n, n=40, rtt_s=rtt_s, loss_frac=loss_frac).mean()
        for n in (n_first, n_first + n_more)
    )
    rate_bps = n_more * PACKETS * 8 / (all_s - first_s)
    floor_bps, ceiling_bps = (
        float(renewal_rate_bps(PACKETS, rtt_s, loss_frac, timeout_s=0.3, n_per_answer=1)),
        float(inverse_root_rate_bps(PACKETS, rtt_s, loss_frac, factor=1.31)),
    )
    assert 0.9 * floor_bps < rate_bps < 1.1 * ceiling_bps


def test_losses_in_bursts_hurt_less_than_single_ones():
    paths = CapacityPaths.from_rates([4e6])
    single_s, bursts_s = (
        np.median(walked_s(paths, 3000, n=80, congestion="cubic", loss_frac=0.01,
                           loss_burst_packets=burst))
        for burst in (1.0, 5.0)
    )  # fmt: skip
    assert bursts_s < 0.9 * single_s


def test_more_flows_bear_loss_better():
    paths = CapacityPaths.from_rates([2e7])
    one_s, four_s = (
        np.median(walked_s(paths, 4000, n=60, congestion="cubic", loss_frac=0.01, n_flows=flows))
        for flows in (1, 4)
    )
    assert four_s < 0.5 * one_s


def test_a_link_that_holds_packets_costs_the_outage_alone():
    paths = CapacityPaths.from_rates([4e6] * 2 + [0.0] * 4 + [4e6] * 94)
    through_s = walked_s(paths, 1500)[0]
    assert through_s == pytest.approx(4 + 1500 * PACKET_BITS / 4e6, abs=0.3)


@pytest.mark.parametrize(
    ("outage_s", "sent_s"),
    # packets wait at most 0.5 s; the first timeout, 0.1 + 0.2 s, doubles (RFC 6298 section 5.5):
    # copies leave after 0.3, 0.9, 2.1, 4.5 and 9.3 s, and one must arrive in the last 0.5 s
    [
        (0.4, 0.4),
        (0.7, 0.7),
        (1.0, 1.0),
        (1.5, 2.1),
        (2.5, 2.5),
        (3.0, 4.5),
        (4.6, 4.6),
        (5.1, 9.3),
    ],
)
def test_a_link_that_throws_packets_away_waits_for_the_timer(outage_s, sent_s):
    n_dead = round(outage_s * 10)
    paths = CapacityPaths.from_rates([0.0] * n_dead + [12e6] * 900, 0.1)
    assert_allclose(walked_s(paths, 1, hold_s=0.5), sent_s + 1e-3 + 0.1)


def test_a_flight_that_was_thrown_away_starts_from_one_packet():
    # 1, 2, 4 and 3 packets after the outage instead of all ten at once
    paths = CapacityPaths.from_rates([0.0] * 20 + [12e6] * 900, 0.1)
    kept_s, thrown_s = walked_s(paths, 10)[0], walked_s(paths, 10, hold_s=0.5)[0]
    assert_allclose(kept_s, 2.0 + 0.01 + 0.1)
    assert_allclose(thrown_s, 2.1 + 3 * (0.1 + 1e-3) + 3e-3 + 0.1)


def test_transfers_that_take_ages_are_carried_on_at_their_own_efficiency():
    paths = CapacityPaths.from_rates([1e8])
    short_s, long_s = (
        walked_s(paths, n, most_packets=10, rtt_s=0.05)[0] for n in (10_000, 1_000_000)
    )
    assert long_s / short_s == pytest.approx(100, rel=0.02)


def test_nothing_to_send_and_nobody_to_carry_it():
    dead = CapacityPaths.from_rates([0.0])
    assert walked_s(dead, 0, begins_s=2.0)[0] == np.inf
    alive = CapacityPaths.from_rates([1e6])
    assert walked_s(alive, 0, begins_s=2.0)[0] == 2.0
    assert np.isinf(walked_s(dead, 5)).all()


def test_one_seed_one_outcome():
    paths = CapacityPaths.from_rates([4e6])
    first, again, other = (
        walked_s(paths, 700, n=5, loss_frac=0.02, seed=seed) for seed in (1, 1, 2)
    )
    assert_allclose(first, again)
    assert (first != other).any()


def test_more_loss_takes_longer():
    paths = CapacityPaths.from_rates([8e6])
    means_s = [
        walked_s(paths, 1500, n=60, congestion="cubic", loss_frac=loss).mean()
        for loss in (0.0, 0.003, 0.01, 0.04)
    ]
    assert all(a < b for a, b in pairwise(means_s))
