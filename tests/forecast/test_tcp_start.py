"""Handshakes through outages and losses, and slow start against a packet-by-packet oracle."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.tcp_start import connected, delivered_when_filled_s
from linkfit.forecast.tcp_transports import TRANSPORTS
from linkfit.link.paths import CapacityPaths

PACKET_BITS = 12000.0


def ready_s(paths, starts_s, **more):
    starts_s = np.asarray(starts_s, dtype=float)
    call = {"n_round_trips": 1, "loss_frac": 0.0, "hold_s": math.inf} | more
    return connected(
        paths,
        np.zeros(starts_s.size, dtype=int),
        starts_s,
        np.full(starts_s.size, 0.1),
        transport=TRANSPORTS["tcp"],
        rng=np.random.default_rng(1),
        **call,
    ).time_s


def test_each_message_crosses_the_link():
    paths = CapacityPaths.from_rates([48e3])  # the 60 bytes take 10 ms, the 569 of TLS 94.8 ms
    assert_allclose(ready_s(paths, [0.0]), 0.11)
    assert_allclose(ready_s(paths, [0.0], n_round_trips=2), 0.21 + 569 / 6000)
    assert_allclose(ready_s(paths, [0.7], n_round_trips=0), 0.7)


def test_a_handshake_waits_for_the_end_of_an_outage():
    paths = CapacityPaths.from_rates([0.0, 0.0, 48e3, 48e3])
    assert_allclose(ready_s(paths, [0.5]), 2.11)


@pytest.mark.parametrize(
    ("start_s", "hold_s", "expected_s"),
    [
        # the link is dead until 4 s; first packets leave after 0, 1, 3, 7 s (RFC 6298 section 5.5)
        (0.0, 0.5, 7.11),  # the one at 3 s was thrown away 0.5 s before the end
        (0.0, 1.2, 4.11),  # it survives until the end
        (0.8, 0.5, 4.11),  # 3.8 s
        (2.5, 0.6, 4.11),  # the copy of 3.5 s waits 0.5 s
    ],
)
def test_thrown_away_first_packets_are_repeated_with_backoff(start_s, hold_s, expected_s):
    paths = CapacityPaths.from_rates([0.0] * 4 + [48e3] * 96)
    assert_allclose(ready_s(paths, [start_s], hold_s=hold_s), expected_s)


def test_lost_first_packets_cost_a_second_and_more():
    paths = CapacityPaths.from_rates([48e6])
    delays_s = ready_s(paths, np.zeros(20_000), loss_frac=0.1) - 0.1
    retries = np.log2(np.rint(delays_s) + 1)
    assert_allclose(retries, np.rint(retries))
    # 10 % repeat once, 1 % twice: five standard errors of 20,000 draws
    assert (retries >= 1).mean() == pytest.approx(0.1, abs=5 * (0.09 / 20_000) ** 0.5)
    assert (retries >= 2).mean() == pytest.approx(0.01, abs=5 * (0.0099 / 20_000) ** 0.5)


def test_the_mean_cost_of_lost_first_packets():
    # N. Cardwell, S. Savage, T. Anderson, INFOCOM 2000 (formula from memory), for one direction:
    # T (1 - p) / (1 - 2 p) - T beyond the round trip; the timer doubles, so its variance is large
    loss, n = 0.1, 200_000
    delays_s = ready_s(CapacityPaths.from_rates([48e9]), np.zeros(n), loss_frac=loss) - 0.1
    expected_s = (1 - loss) / (1 - 2 * loss) - 1
    assert delays_s.mean() == pytest.approx(expected_s, abs=5 * delays_s.std() / n**0.5)


def by_packets_s(rate_bps, n_packets, rtt_s, first=10):
    """Slow start packet by packet on a constant link with endless buffer: each answer frees two."""
    send_s, free_s, n_acked = [0.0] * min(first, n_packets), 0.0, 0
    while True:
        free_s = max(free_s, send_s[n_acked]) + PACKET_BITS / rate_bps
        n_acked += 1
        if n_acked == n_packets:
            return free_s
        for _ in range(min(2, n_packets - len(send_s))):
            send_s.append(free_s + rtt_s)


@pytest.mark.parametrize("rate_bps", [2e5, 4e6, 3e7])
@pytest.mark.parametrize("n_packets", [1, 10, 11, 30, 69, 70, 71, 400])
@pytest.mark.parametrize("rtt_s", [0.01, 0.06, 0.4])
def test_slow_start_against_single_packets(rate_bps, n_packets, rtt_s):
    paths = CapacityPaths.from_rates([rate_bps])
    clock = connected(
        paths, np.zeros(1, dtype=int), np.zeros(1), np.zeros(1), n_round_trips=0, loss_frac=0.0,
        transport=TRANSPORTS["tcp"], hold_s=math.inf, rng=np.random.default_rng(0),
    )  # fmt: skip
    sent_s = delivered_when_filled_s(
        clock,
        np.array([n_packets * PACKET_BITS]),
        np.array([rtt_s]),
        packet_bits=PACKET_BITS,
        n_first=10,
    )
    exact_s = by_packets_s(rate_bps, n_packets, rtt_s)
    # a window leaves as a burst here and packet by packet there: at most half a round's sending
    assert sent_s[0] <= exact_s + 1e-9
    assert_allclose(sent_s, exact_s, rtol=0.03)
