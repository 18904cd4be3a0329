"""Requests on one connection: by hand, against the packet-by-packet recursion, invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast import tcp_rounds
from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.tcp_requests import MOST_LANES, Lanes, Requests
from linkfit.link.paths import CapacityPaths

RTT_S, PACKET_S, PACKETS = 0.1, 1e-3, 1448.0
PATHS = CapacityPaths.from_rates([12e6])  # a packet of 1500 bytes a millisecond


def asked_s(n_packets, n_requests, n_parallel, gap_s=0.0, paths=PATHS, **more):
    """Time of `n_requests` answers of `n_packets` each on a connection that stands."""
    return float(
        transfer_times_s(
            paths,
            0.0,
            n_packets * n_requests * PACKETS,
            RTT_S,
            handshake_round_trips=0,
            buffer_bytes=1e9,
            congestion="reno",
            n_requests=n_requests,
            n_parallel=n_parallel,
            gap_s=gap_s,
            **more,
        )
    )


def by_recursion_s(n_packets, n_requests, n_parallel, gap_s=0.0):
    """Answer k leaves when the link is free and its request is there; the window never limits."""
    sent_s = []
    for k in range(n_requests):
        there_s = 0.0 if k < n_parallel else sent_s[k - n_parallel] + RTT_S + gap_s
        free_s = sent_s[-1] if sent_s else 0.0
        sent_s.append(max(there_s, free_s) + n_packets * PACKET_S)
    return sent_s[-1] + RTT_S


@pytest.mark.parametrize("gap_s", [0.0, 0.05, 0.15])
@pytest.mark.parametrize(
    ("n_packets", "n_requests", "n_parallel"), [(1, 20, 1), (2, 40, 4), (3, 30, 2), (1, 50, 10)]
)
def test_answers_within_the_first_window_take_what_the_recursion_says(
    n_packets, n_requests, n_parallel, gap_s
):
    expected_s = by_recursion_s(n_packets, n_requests, n_parallel, gap_s)
    assert_allclose(asked_s(n_packets, n_requests, n_parallel, gap_s), expected_s, rtol=0.03)


def test_the_window_grows_from_one_answer_to_the_next():
    # 35 packets need three round trips with windows of 10, 20 and 40, and one once it is grown
    first = asked_s(35, 1, 1)
    assert_allclose(first, 3 * RTT_S + 5 * PACKET_S + 2 * PACKET_S, atol=1e-9)
    each = asked_s(35, 3, 1) - asked_s(35, 2, 1)
    assert_allclose(each, RTT_S + 35 * PACKET_S, atol=1e-9)


def test_after_a_long_pause_the_window_grows_anew():
    # RFC 2861: idle for longer than a timeout the window halves for each; after 10 s it is 10
    pause_s = 10.0
    with_pause = asked_s(35, 3, 1, pause_s) - asked_s(35, 2, 1, pause_s) - pause_s
    assert_allclose(with_pause, 3 * RTT_S + 7 * PACKET_S, atol=1e-9)
    short = asked_s(35, 3, 1, 0.1) - asked_s(35, 2, 1, 0.1) - 0.1
    assert_allclose(short, RTT_S + 35 * PACKET_S, atol=1e-9)


@settings(max_examples=30, deadline=None)
@given(
    n_packets=st.integers(1, 60),
    n_requests=st.integers(2, 25),
    n_parallel=st.integers(1, 8),
    rates=st.lists(st.sampled_from([0.0, 1e6, 2e7]), min_size=1, max_size=4),
    congestion=st.sampled_from(["reno", "cubic", "bbr"]),
)
def test_requests_never_beat_a_payload_that_is_all_there(
    n_packets, n_requests, n_parallel, rates, congestion
):
    paths = CapacityPaths.from_rates([*rates, 3e6])
    ask = {"paths": paths, "gap_s": 0.02}
    least_s = float(paths.time_at_bits_s(n_packets * n_requests * 12000.0)) + RTT_S
    found_s = asked_s(n_packets, n_requests, n_parallel, **ask)
    assert np.isfinite(found_s)
    assert found_s >= least_s - 1e-9
    waits = max(-(-n_requests // n_parallel) - 1, 0)
    assert found_s >= waits * (RTT_S + 0.02)


@pytest.mark.parametrize(("n_packets", "n_parallel"), [(1, 1), (20, 6), (300, 2)])
def test_thousands_of_requests_go_on_at_their_pace(n_packets, n_parallel):
    # beyond the walk the idle time of each packet stays what it was
    half, whole = (asked_s(n_packets, n, n_parallel) for n in (2000, 4000))
    assert_allclose(whole, by_recursion_s(n_packets, 4000, n_parallel), rtol=0.02)
    assert_allclose(whole / half, 2.0, rtol=0.02)


def test_the_pace_of_the_walk_holds_on_paths_that_vary(monkeypatch):
    rng = np.random.default_rng(2)
    paths = CapacityPaths.from_rates(5e6 * np.exp(0.7 * rng.standard_normal((60, 300))))
    ask = {"draws": np.arange(60), "handshake_round_trips": 0, "n_requests": 150, "gap_s": 0.5}
    few, all_walked = [], []
    for times, most_rounds in ((few, 96), (all_walked, 10**6)):
        monkeypatch.setattr(tcp_rounds, "MOST_REQUEST_ROUNDS", most_rounds)
        times.append(transfer_times_s(paths, np.zeros(60), 150 * 5e4, RTT_S, **ask))
    assert_allclose(few[0], all_walked[0], rtol=0.06)
    assert np.median(few[0]) == pytest.approx(np.median(all_walked[0]), rel=0.02)


def test_hundreds_of_lanes_are_bundled_and_take_as_long():
    assert Requests.bundled(10, 3, np.zeros(1)).n_parallel == 3
    many = Requests.bundled(100_000, 1000, np.zeros(1))
    assert many.n_parallel <= MOST_LANES
    assert many.n_requests / many.n_parallel == pytest.approx(100, rel=0.01)
    # the link is full either way
    assert asked_s(1, 20_000, 1000) == pytest.approx(20.0 + RTT_S, rel=0.03)


def test_a_path_that_carries_nothing_never_answers():
    assert asked_s(1, 5, 1, paths=CapacityPaths.from_rates([0.0, 0.0])) == np.inf


def test_lanes_ask_again_in_the_order_of_their_answers():
    requests = Requests(n_requests=5, n_parallel=2, gap_s=np.array([1.0]))
    lanes = Lanes(requests=requests, item_packets=np.array([10.0]), gap_s=requests.gap_s)
    zero, rtt_s = np.zeros(1), np.array([RTT_S])
    asked, start_s, _ = lanes.asked_packets(zero, zero, rtt_s)
    assert (asked[0], start_s[0]) == (20, 0)
    lanes.answered(np.array([20.0]), np.array([0.2]), np.array([0.4]))
    # answers at 0.3 and 0.4 s, then a second each; the second comes within a round trip
    asked, start_s, until_s = lanes.asked_packets(np.array([0.2]), np.array([0.4]), rtt_s + 0.01)
    assert_allclose([asked[0], start_s[0], until_s[0]], [20, 1.3, 1.4])
    lanes.answered(np.array([20.0]), np.array([1.5]), np.array([1.5]))
    asked, start_s, _ = lanes.asked_packets(np.array([1.5]), np.array([1.5]), rtt_s)
    assert_allclose([asked[0], start_s[0]], [10, 2.5])  # the fifth is the last
