"""The oracles of TCP against the tables of the RFCs; many of those truncate what they print."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.forecast.tcp_theory import (
    cubic_window_packets,
    inverse_root_rate_bps,
    renewal_rate_bps,
    reno_window_packets,
    timer_s,
)

LOSSES = np.array([1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8])


def test_mean_windows_of_reno_in_rfc_9438():
    # section 5.1, table 1
    assert_allclose(reno_window_packets(LOSSES), [12, 38, 120, 379, 1200, 3795, 12000], atol=0.5)


@pytest.mark.parametrize(
    ("c", "rtt_s", "windows"),
    [  # RFC 9438 section 5.1, tables 1 (round trip 0.1 s) and 2 (0.01 s)
        (0.04, 0.1, [12, 38, 120, 593, 3332, 18740, 105383]),
        (0.4, 0.1, [12, 38, 187, 1054, 5926, 33325, 187400]),
        (4.0, 0.1, [12, 59, 333, 1874, 10538, 59261, 333250]),
        (0.04, 0.01, [12, 38, 120, 379, 1200, 3795, 18740]),
        (0.4, 0.01, [12, 38, 120, 379, 1200, 5926, 33325]),
        (4.0, 0.01, [12, 38, 120, 379, 1874, 10538, 59261]),
    ],
)
def test_mean_windows_of_cubic_in_rfc_9438(c, rtt_s, windows):
    assert_allclose(cubic_window_packets(LOSSES, rtt_s, c=c), windows, atol=0.51)


@pytest.mark.parametrize(
    ("rate_mbps", "loss_frac"),
    # RFC 9438 section 5.2, table 3, column CUBIC, two digits: 10 % covers their truncation
    [(1, 2.0e-2), (10, 2.9e-4), (100, 1.4e-5), (1000, 6.3e-7), (10000, 2.9e-8)],
)
def test_loss_that_cubic_bears_in_rfc_9438(rate_mbps, loss_frac):
    needed_packets = rate_mbps * 1e6 * 0.1 / 12_000
    more, fewer = cubic_window_packets(loss_frac * np.array([0.9, 1.1]), 0.1)
    assert fewer < needed_packets < more


def test_the_example_of_rfc_3819_and_its_misprint():
    # section 8.5.3: MSS 1000, round trip 120 ms, loss 1 %
    assert inverse_root_rate_bps(1000, 0.12, 0.01, factor=1.0) == pytest.approx(666_667, rel=1e-5)
    assert inverse_root_rate_bps(1000, 0.12, 0.01) == pytest.approx(620_000)
    # its full formula has 1.33 for the 4/3 of renewal theory: 519.4 kbit/s, while it prints 402.9,
    # which follows only without the minimum (as if it were 1)
    assert renewal_rate_bps(1000, 0.12, 0.01, timeout_s=0.6) == pytest.approx(519_400, rel=2e-3)
    without_s = 0.12 * math.sqrt(1.33 * 0.01) + 0.6 * 0.01 * (1 + 32 * 0.01**2)
    assert 8000 / without_s == pytest.approx(402_900, rel=1e-3)


# net/dccp/ccids/lib/tfrc_equation.c of common kernels, tfrc_calc_x_lookup: floor(1e6 f(p)) of
# f(p) = sqrt(2p/3) + 12 sqrt(3p/8) (p + 32 p^3), which is RFC 5348 section 3.1 with t_RTO = 4 R:
# renewal theory with an answer for each packet, while its minimum is not yet 1
TFRC_TABLE = {
    1e-4: 8172, 2e-4: 11567, 1e-3: 26052, 2e-3: 37172, 0.01: 89021, 0.02: 136520, 0.05: 271305,
    0.1: 564939,
}  # fmt: skip


@pytest.mark.parametrize(("loss", "expected"), TFRC_TABLE.items())
def test_renewal_theory_agrees_with_the_table_of_a_kernel(loss, expected):
    # a packet of 1 bit over a round trip of a second: the rate is 1 / f(p)
    rate = float(renewal_rate_bps(1 / 8, 1.0, loss, timeout_s=4.0, n_per_answer=1))
    assert math.floor(1e6 / rate * (1 + 1e-12)) == expected


def test_renewal_theory_falls_to_the_inverse_root_where_losses_are_rare():
    # M. Mathis, J. Semke, J. Mahdavi, T. Ott, CCR 27(3), 1997: C = sqrt(3/2) = 1.22 with an
    # answer for each packet, sqrt(3/4) = 0.87 with every second (values from memory)
    for n_per_answer, factor in ((1, 1.2247), (2, 0.8660)):
        found = renewal_rate_bps(1000, 0.1, 1e-8, timeout_s=0.4, n_per_answer=n_per_answer)
        expected = inverse_root_rate_bps(1000, 0.1, 1e-8, factor=factor)
        assert_allclose(found, expected, rtol=1e-3)
    held = renewal_rate_bps(1000, 0.1, 1e-6, timeout_s=0.4, most_packets=20)
    assert held == pytest.approx(20 * 8000 / 0.1)


SEEN_S = [0.1, 0.12, 0.3, 0.1]


def test_timers_of_rfc_6298_and_9002_step_by_step():
    # RFC 6298 section 2 (known by quotation), worked out with a clock of 1 ms and no floor; QUIC
    # waits 25 ms more for late acknowledgements (RFC 9002 section 6.2.1)
    expected = [0.3, 0.2725, 0.452187, 0.394727]
    assert_allclose([timer_s(SEEN_S[:n]) for n in (1, 2, 3, 4)], expected, atol=1e-6)
    quic = [timer_s(SEEN_S[:n], late_s=0.025) for n in (1, 2, 3, 4)]
    assert_allclose(quic, np.array(expected) + 0.025, atol=1e-6)
    assert timer_s([]) == 1.0  # section 2.1
    assert timer_s([], first_rtt_s=0.333) == pytest.approx(0.999)  # section 6.2.2: "1 second"
