"""Closed formulas against the tables of the RFCs; many of those truncate what they print."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.tcp_limits import (
    bandwidth_delay_bits,
    buffer_delay_frac,
    cubic_loss_frac_for,
    cubic_window_packets,
    efficiency_frac,
    frames_per_s,
    initial_window_bytes,
    inverse_root_rate_bps,
    largest_tcp_rate_bps,
    renewal_rate_bps,
    reno_rate_bps,
    reno_window_packets,
    slow_start_rounds,
    tfrc_rate_bps,
    timeout_s,
    transfer_time_ratio,
    window_limited_rate_bps,
)

T3_BPS, T3_FRAME_BYTES, ETHERNET_FRAME_BYTES = 44.21e6, 8, 38


@pytest.mark.parametrize(
    ("rate_mbps", "rtt_ms", "bits", "window_kb"),
    [  # RFC 6349 section 3.3.1, table 3.3.1, all rows; KB is 1000 bytes there
        (1.536, 20, 30_720, 3.84), (1.536, 50, 76_800, 9.60), (1.536, 100, 153_600, 19.20),
        (44.21, 10, 442_100, 55.26), (44.21, 15, 663_150, 82.89), (44.21, 25, 1_105_250, 138.16),
        (100, 1, 100_000, 12.50), (100, 2, 200_000, 25.00), (100, 5, 500_000, 62.50),
        (1000, 0.1, 100_000, 12.50), (1000, 0.5, 500_000, 62.50), (1000, 1, 1_000_000, 125.00),
        (10000, 0.05, 500_000, 62.50), (10000, 0.3, 3_000_000, 375.00),
        # the two ways of an asymmetric path, RFC 6349 section 3.3.1
        (5, 90, 450_000, 56.25), (0.64, 90, 57_600, 7.20),
    ],
)  # fmt: skip
def test_bandwidth_delay_products_of_rfc_6349(rate_mbps, rtt_ms, bits, window_kb):
    product = bandwidth_delay_bits(rate_mbps * 1e6, rtt_ms / 1e3)
    assert product == pytest.approx(bits, rel=1e-9)
    assert product / 8 / 1000 == pytest.approx(window_kb, abs=0.01)


@pytest.mark.parametrize(
    ("window_kb", "rtt_ms", "rate_mbps"),
    [  # RFC 6349 section 3.3.1 and figures 3.3.1a and b; printed digits are truncated
        (16, 5, 25.6), (16, 10, 12.8), (16, 15, 8.5), (16, 25, 5.1),
        (64, 10, 42.8), (64, 15, 34.1), (64, 25, 20.5), (32, 25, 10.2), (128, 25, 40.9),
    ],
)  # fmt: skip
def test_window_limited_rates_of_rfc_6349_stay_below_the_line(window_kb, rtt_ms, rate_mbps):
    by_window = window_limited_rate_bps(window_kb * 1000, rtt_ms / 1e3)
    by_line = largest_tcp_rate_bps(T3_BPS, frame_bytes=T3_FRAME_BYTES)
    assert min(by_window, by_line) / 1e6 == pytest.approx(rate_mbps, abs=0.1)


def test_satellite_window_of_rfc_2488():
    # section 4.2: 65,535 bytes over 560 ms are 117,027 bytes/s; a T1 of 192,000 bytes/s takes two
    bytes_per_s = window_limited_rate_bps(65535, 0.560) / 8
    assert bytes_per_s == pytest.approx(117_027, abs=1)
    assert bytes_per_s < 192_000 < 2 * bytes_per_s


@pytest.mark.parametrize(
    ("rate_bps", "frame_bytes", "frames", "tcp_mbps"),
    [  # RFC 6349 section 4.1.1 and table 4.1.2; its transfer times are rounded without rule
        (T3_BPS, T3_FRAME_BYTES, 3664, 42.8),
        (100e6, ETHERNET_FRAME_BYTES, 8127, 94.9),
        (1e9, ETHERNET_FRAME_BYTES, 81274, 949.2),
        (10e9, ETHERNET_FRAME_BYTES, 812743, 9492.0),
    ],
)
def test_full_lines_of_rfc_6349(rate_bps, frame_bytes, frames, tcp_mbps):
    assert frames_per_s(rate_bps, mtu_bytes=1500, frame_bytes=frame_bytes) == frames
    rate = largest_tcp_rate_bps(rate_bps, frame_bytes=frame_bytes)
    assert rate / 1e6 == pytest.approx(tcp_mbps, abs=1.0 if tcp_mbps > 9000 else 0.1)


def test_ratios_of_rfc_6349():
    assert transfer_time_ratio(12, 8) == pytest.approx(1.5)  # section 4.1.2
    assert efficiency_frac(102_000, 2_000) == pytest.approx(0.9803, abs=1e-4)  # section 4.2.1
    assert buffer_delay_frac(0.032, 0.025) == pytest.approx(0.28)  # section 4.3.1


LOSSES = [1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8]


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
    assert cubic_loss_frac_for(rate_mbps * 1e6, 0.1) == pytest.approx(loss_frac, rel=0.1)


def test_a_window_of_1200_packets_in_10_ms():
    # RFC 9438 section 5.1: 1.44 Gbit/s with packets of 1500 bytes
    assert window_limited_rate_bps(1200 * 1500, 0.01) == pytest.approx(1.44e9)


def test_the_example_of_rfc_3819_and_its_misprint():
    # section 8.5.3: MSS 1000, round trip 120 ms, loss 1 %
    assert inverse_root_rate_bps(1000, 0.12, 0.01, factor=1.0) == pytest.approx(666_667, rel=1e-5)
    assert inverse_root_rate_bps(1000, 0.12, 0.01) == pytest.approx(620_000)
    # it prints 402.9 kbit/s, which its own formula gives only without min(1, ...) (as if 1)
    assert reno_rate_bps(1000, 0.12, 0.01) == pytest.approx(519_400, rel=1e-3)
    without_s = 0.12 * math.sqrt(1.33 * 0.01) + 0.6 * 0.01 * (1 + 32 * 0.01**2)
    assert 8000 / without_s == pytest.approx(402_900, rel=1e-3)


@pytest.mark.parametrize(
    ("mss_bytes", "window_bytes"),
    # RFC 6928 section 2, equation 1 (known by quotation); values worked out from it
    [(536, 5360), (1460, 14600), (1500, 14600), (8960, 17920)],
)
def test_initial_windows_of_rfc_6928(mss_bytes, window_bytes):
    assert initial_window_bytes(mss_bytes) == window_bytes


@pytest.mark.parametrize(
    ("n_packets", "first", "growth", "rounds"),
    # Cardwell, Savage & Anderson 2000: the formula is a value from memory, checked by adding up
    [
        (100, 1, 2.0, 7),
        (100, 10, 2.0, 4),
        (100, 10, 1.5, 5),
        (1000, 10, 2.0, 7),
        (1000, 10, 1.5, 10),
    ],
)
def test_slow_start_rounds_by_adding_windows_up(n_packets, first, growth, rounds):
    assert slow_start_rounds(n_packets, first_window=first, growth_factor=growth) == rounds
    sent, window, counted = 0.0, float(first), 0
    while sent < n_packets - 1e-9:
        sent, window, counted = sent + window, window * growth, counted + 1
    assert counted == rounds


def test_timeouts_of_rfc_6298_step_by_step():
    # section 2 (known by quotation), worked out with a clock of 1 ms and no floor
    rtts_s = [0.1, 0.12, 0.3, 0.1]
    timeouts = [timeout_s(rtts_s[:n], least_s=0.0) for n in (1, 2, 3, 4)]
    assert_allclose(timeouts, [0.3, 0.2725, 0.452187, 0.394727], atol=1e-6)
    assert timeout_s(rtts_s) == 1.0  # the floor of section 2.4
    assert timeout_s([]) == 1.0  # section 2.1


def test_windows_fall_with_loss():
    losses = np.geomspace(1e-8, 1, 50)
    assert (np.diff(cubic_window_packets(losses, 0.05)) < 0).all()


def test_loss_of_nothing_has_no_limit():
    with pytest.raises(InputError, match="loss_frac: expected above 0 and at most 1, got 0"):
        reno_window_packets([0.1, 0.0])
    with pytest.raises(InputError, match=r"resent_bytes: expected 0 to 10, got 11"):
        efficiency_frac(10, 11)
    with pytest.raises(InputError, match=r"growth_factor: expected > 1, got 1"):
        slow_start_rounds(5, growth_factor=1.0)


# net/dccp/ccids/lib/tfrc_equation.c of common kernels, tfrc_calc_x_lookup: floor(1e6 f(p)) of
# f(p) = sqrt(2p/3) + 12 sqrt(3p/8) (p + 32 p^3), which is RFC 5348 section 3.1 with t_RTO = 4 R
TFRC_TABLE = {
    1e-4: 8172, 2e-4: 11567, 1e-3: 26052, 2e-3: 37172, 0.01: 89021, 0.02: 136520, 0.05: 271305,
    0.1: 564939, 1.0: 243315981,
}  # fmt: skip


@pytest.mark.parametrize(("loss", "expected"), TFRC_TABLE.items())
def test_the_fair_rate_agrees_with_the_table_of_a_kernel(loss, expected):
    # a packet of 1 bit over a round trip of a second: the rate is 1 / f(p)
    rate = float(tfrc_rate_bps(1 / 8, 1.0, loss))
    assert math.floor(1e6 / rate * (1 + 1e-12)) == expected


def test_renewal_theory_falls_to_the_inverse_root_where_losses_are_rare():
    # M. Mathis, J. Semke, J. Mahdavi, T. Ott, CCR 27(3), 1997: C = sqrt(3/2) = 1.22 with an
    # answer for each packet, sqrt(3/4) = 0.87 with every second (values from memory)
    for n_per_answer, factor in ((1, 1.2247), (2, 0.8660)):
        found = renewal_rate_bps(1000, 0.1, 1e-8, timeout_s=0.4, n_per_answer=n_per_answer)
        expected = inverse_root_rate_bps(1000, 0.1, 1e-8, factor=factor)
        assert_allclose(found, expected, rtol=1e-3)


def test_renewal_theory_holds_the_window_and_agrees_with_its_restatement():
    assert_allclose(
        renewal_rate_bps(1000, 0.1, 1e-6, timeout_s=0.4, most_packets=20), 20 * 8000 / 0.1
    )
    # RFC 3819 section 8.5.1 restates it with b = 2 and 1.33 for 4/3
    assert_allclose(
        renewal_rate_bps(1000, 0.12, 0.01, timeout_s=0.6), reno_rate_bps(1000, 0.12, 0.01),
        rtol=0.002,
    )  # fmt: skip


def test_the_fair_rate_is_below_renewal_theory_only_by_its_timeouts():
    # both with an answer for each packet and the same timer; RFC 5348 leaves out the minimum
    loss = np.array([1e-4, 1e-3, 0.01, 0.05, 0.3])
    fair = tfrc_rate_bps(1000, 0.1, loss)
    theory = renewal_rate_bps(1000, 0.1, loss, timeout_s=0.4, n_per_answer=1)
    assert_allclose(fair[:4], theory[:4], rtol=1e-9)
    assert fair[4] < theory[4]
