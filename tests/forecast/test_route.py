"""Requests over a route: each part of the way against the same transfer worked out by hand."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.route import Route, request_times_s
from linkfit.link.paths import CapacityPaths

PATHS = CapacityPaths.from_rates([12e6])  # a packet of 1500 bytes a millisecond
PLAIN = {"starts_s": [0.0], "draws": 0, "rtts_s": 0.1}
SYN_S = 480 / 12e6


def one(route, size_bytes=1448, **more):
    return float(request_times_s(PATHS, sizes_bytes=size_bytes, route=route, **PLAIN | more)[0])


@pytest.mark.parametrize(
    ("route", "expected_s"),
    [
        (Route(tls=False), 0.2 + SYN_S + 1e-3),
        (Route(tls=False, relay_rtt_s=0.02), 0.24 + SYN_S + 1e-3),
        (Route(tls=False, server_time_s=0.05), 0.25 + SYN_S + 1e-3),
        (Route(tls=False, handshake_round_trips=0), 0.1 + 1e-3),
        (Route(tls=False, remote_rate_bps=1.2e6), 0.2 + 480 / 1.2e6 + 10e-3),
        # 1388 bytes fit beside 60 of tunnel: 1448 bytes are 1 and 60/1388 packets
        (Route(tls=False, tunnel_overhead_bytes=60), 0.2 + SYN_S + 1e-3 * 1448 / 1388),
        # one more round trip, a first message of 517 bytes and headers, one record of 22 bytes
        (Route(tls=True), 0.3 + SYN_S + 569 * 8 / 12e6 + 1e-3 * (1448 + 22) / 1448),
    ],
)
def test_one_packet_by_hand(route, expected_s):
    assert_allclose(one(route), expected_s, rtol=1e-9)


def test_requests_one_after_another_wait_a_round_trip_each():
    # a packet each, and the window holds them all from the start
    route = Route(tls=False)
    alone, five = one(route, 5 * 1448), one(route, 5 * 1448, n_requests=5)
    assert_allclose(five - alone, 4 * 0.1)


def test_the_server_s_time_and_a_person_s_pause_come_before_each_next_request():
    bare = one(Route(tls=False), n_requests=3)
    worked = one(Route(tls=False, server_time_s=0.05), n_requests=3)
    paused = one(Route(tls=False, server_time_s=0.05), n_requests=3, gap_s=0.1)
    assert_allclose(worked - bare, 3 * 0.05)
    assert_allclose(paused - worked, 2 * 0.1)


def test_parallel_requests_hide_their_waits_behind_each_other():
    # two lanes of ten answers of 0.2 s each: while one lane waits 0.1 s, the other keeps the
    # link busy
    size_bytes = 20 * 200 * 1448
    route = Route(tls=False)
    waits_s = one(route, size_bytes, n_requests=20, n_parallel=2) - one(route, size_bytes)
    assert_allclose(waits_s, 0.0, atol=1e-9)


def test_all_at_once_is_one_transfer():
    route = Route(tls=False)
    assert one(route, 1e6, n_requests=8, n_parallel=8) == one(route, 1e6)


def test_arrays_broadcast():
    sizes = np.array([1e4, 1e5, 1e6])
    times = request_times_s(
        PATHS, starts_s=0.0, draws=0, sizes_bytes=sizes, rtts_s=0.05, route=Route()
    )
    assert times.shape == (3,)
    assert (np.diff(times) > 0).all()


def test_a_tunnel_larger_than_the_packet_is_refused():
    with pytest.raises(InputError, match=r"mtu_bytes: expected room for 1552 bytes"):
        Route(tunnel_overhead_bytes=1500)
