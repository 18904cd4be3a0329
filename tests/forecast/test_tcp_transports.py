"""QUIC against TCP: windows, timers and round trips, by RFC 9000 and 9002."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.tcp import transfer_times_s
from linkfit.forecast.tcp_transports import (
    TRANSPORTS,
    initial_window_bytes,
    largest_payload_bytes,
    quic_initial_window_bytes,
    transport_named,
)
from linkfit.link.paths import CapacityPaths
from tests.forecast.tcp_theory import timer_s

PATHS = CapacityPaths.from_rates([12e6])  # a packet of 1500 bytes a millisecond


@pytest.mark.parametrize(
    ("datagram_bytes", "expected"),
    # RFC 9002 section 7.2; 1472 bytes fit a packet of 1500 over IPv4
    [(1472, 14720), (1200, 12000), (1500, 14720), (8972, 17944)],
)
def test_first_window_of_quic(datagram_bytes, expected):
    assert quic_initial_window_bytes(datagram_bytes) == expected


def test_both_start_with_ten_full_packets():
    for way in TRANSPORTS.values():
        assert way.first_window_packets(largest_payload_bytes(way)) == 10


@pytest.mark.parametrize(
    ("mss_bytes", "window_bytes"),
    # RFC 6928 section 2, equation 1 (known by quotation); values worked out from it
    [(536, 5360), (1460, 14600), (1500, 14600), (8960, 17920)],
)
def test_initial_windows_of_rfc_6928(mss_bytes, window_bytes):
    assert initial_window_bytes(mss_bytes) == window_bytes


def test_timers_are_those_that_the_rfcs_end_at():
    # before any round trip, and after many alike: then the deviation has gone, and kernels keep
    # TCP 0.2 s above the round trip where RFC 6298 section 2.4 has a second in all
    tcp, quic = TRANSPORTS["tcp"], TRANSPORTS["quic"]
    assert tcp.first_timeout_s == timer_s([])
    assert quic.first_timeout_s == pytest.approx(timer_s([], first_rtt_s=0.333))
    steady = [0.1] * 60
    assert 0.1 + tcp.least_timeout_s == pytest.approx(timer_s(steady, least_deviation_s=0.2))
    assert 0.1 + quic.least_timeout_s == pytest.approx(timer_s(steady, late_s=0.025), abs=1e-6)


def test_persistent_congestion_is_three_timeouts():
    # RFC 9002 section 7.6.3: with a timeout of 2 s a loss over 7 s is persistent (7 > 6)
    quic = TRANSPORTS["quic"]
    rtt_s = np.full(2, 2.0 - quic.least_timeout_s)
    assert list(quic.is_persistent(np.array([5.9, 7.0]), rtt_s)) == [False, True]
    assert TRANSPORTS["tcp"].is_persistent(np.zeros(1), np.ones(1)).all()


def one_s(size_bytes=1000, **more):
    return float(transfer_times_s(PATHS, 0.0, size_bytes, 0.1, **more))


def test_quic_saves_the_round_trip_of_tls():
    # TCP, TLS 1.3 and the answer: 3 round trips (RFC 8446 section 1.2); QUIC 2 (RFC 9001)
    assert round(one_s(tls=True) / 0.1) == 3
    assert round(one_s(transport="quic", tls=True) / 0.1) == 2
    # the first datagram is 1200 bytes at least (RFC 9000 section 14.1), 28 of headers: 1228
    head_s = 1228 * 8 / 12e6
    assert_allclose(one_s(transport="quic"), 0.2 + head_s + 1e-3 * 1000 / 1436, rtol=1e-9)


@pytest.mark.parametrize("congestion", ["reno", "cubic"])
def test_a_short_outage_costs_quic_less_and_a_long_one_both(congestion):
    # 4 Mbit/s with one outage; what waits longer than 0.3 s is thrown away
    def lasts_s(outage_steps, transport):
        rates = np.full(200, 4e6)
        rates[10 : 10 + outage_steps] = 0.0
        paths = CapacityPaths.from_rates(rates, 0.1)
        return float(
            transfer_times_s(
                paths,
                0.0,
                2e6,
                0.05,
                transport=transport,
                congestion=congestion,
                hold_s=0.3,
                buffer_bytes=3e5,
            )
        )

    short = {name: lasts_s(5, name) for name in TRANSPORTS}
    long = {name: lasts_s(40, name) for name in TRANSPORTS}
    assert short["quic"] < short["tcp"]
    for name in TRANSPORTS:
        assert long[name] > short[name] + 3.0


def test_an_unknown_transport_is_named():
    with pytest.raises(InputError, match="transport: expected tcp or quic, got 'udp'"):
        transport_named("udp")
