"""Closed formulas of TCP under loss, and its timers step by step: oracles for the walked model."""

import math

import numpy as np


def reno_window_packets(loss_frac):
    """Mean window under independent loss: 1.2 / sqrt(p), RFC 9438 section 5.1."""
    return 1.2 / np.sqrt(loss_frac)


def cubic_window_packets(loss_frac, rtt_s, *, c=0.4):
    """Mean window: (C 3.7 / 1.2)^(1/4) (RTT / p)^(3/4), Reno's at least; RFC 9438 section 5.1."""
    cubic = (c * 3.7 / 1.2) ** 0.25 * (rtt_s / np.asarray(loss_frac)) ** 0.75
    return np.maximum(cubic, reno_window_packets(loss_frac))


def inverse_root_rate_bps(mss_bytes, rtt_s, loss_frac, *, factor=0.93):
    """Reno without timeouts: C MSS / (RTT sqrt(p)), RFC 3819 section 8.5.1."""
    return factor * mss_bytes * 8 / (rtt_s * np.sqrt(loss_frac))


def renewal_rate_bps(
    mss_bytes, rtt_s, loss_frac, *, timeout_s, most_packets=math.inf, n_per_answer=2
):
    """Reno with timeouts and a largest window, by renewal theory.

    J. Padhye, V. Firoiu, D. Towsley, J. Kurose, "Modeling TCP throughput: a simple model and its
    empirical validation", SIGCOMM 1998, the approximate model (formula from memory):
    min(W / RTT, 1 / (RTT sqrt(2bp/3) + T0 min(1, 3 sqrt(3bp/8)) p (1 + 32 p^2))).
    """
    loss, b = np.asarray(loss_frac), n_per_answer
    lost_s = timeout_s * np.minimum(1.0, 3.0 * np.sqrt(3.0 * b * loss / 8.0))
    per_packet_s = rtt_s * np.sqrt(2.0 * b * loss / 3.0) + lost_s * loss * (1.0 + 32.0 * loss**2)
    return mss_bytes * 8 * np.minimum(most_packets / rtt_s, 1.0 / per_packet_s)


def timer_s(rtts_s, *, first_rtt_s=None, least_deviation_s=0.001, late_s=0.0):
    """How long a sender waits for an answer after having seen `rtts_s`, in order.

    RFC 6298 section 2 and RFC 9002 appendix A.7: the deviation is updated with the old smoothed
    round trip (the text of RFC 9002 section 5.3 has the other order). Before any round trip QUIC
    takes `first_rtt_s` for one.
    """
    if not rtts_s:
        return 1.0 if first_rtt_s is None else first_rtt_s + 4.0 * first_rtt_s / 2.0
    smoothed, deviation = rtts_s[0], rtts_s[0] / 2.0
    for rtt_s in rtts_s[1:]:
        deviation = 0.75 * deviation + 0.25 * abs(smoothed - rtt_s)
        smoothed = 0.875 * smoothed + 0.125 * rtt_s
    return smoothed + max(least_deviation_s, 4.0 * deviation) + late_s
