"""Closed formulas of a path: what a round trip, a window, a frame or a loss rate allows.

Rates in bit/s, sizes in bytes, times in seconds, loss as a fraction; arrays broadcast.
"""

import math
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, non_negative, positive
from linkfit.errors import InputError
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

CUBIC_C = 0.4  # packets/s^3, RFC 9438 section 5
LEAST_TIMEOUT_S = 1.0  # RFC 6298 sections 2.1 and 2.4
_CLOCK_S = 0.001  # granularity of the sender's clock


def bandwidth_delay_bits(rate_bps: float, rtt_s: float) -> float:
    """Bits under way on a path that is just full. [bits]

    Source
    ------
    RFC 6349 section 3.3.1.
    """
    return positive("rate_bps", rate_bps) * positive("rtt_s", rtt_s)


def window_limited_rate_bps(window_bytes: float, rtt_s: float) -> float:
    """Rate that a fixed window allows: one window a round trip. [bit/s]

    Source
    ------
    RFC 6349 section 3.3.1; RFC 2488 section 4.2.
    """
    return positive("window_bytes", window_bytes) * BITS_PER_BYTE / positive("rtt_s", rtt_s)


def frames_per_s(rate_bps: float, *, mtu_bytes: float, frame_bytes: float) -> int:
    """Whole frames of the largest size that a line carries in a second. [1/s]

    `frame_bytes` is what the line adds to each packet (Ethernet 38, PPP on a T3 8).

    Source
    ------
    RFC 6349 section 4.1.1.
    """
    bits = (positive("mtu_bytes", mtu_bytes) + non_negative("frame_bytes", frame_bytes)) * 8
    return math.floor(positive("rate_bps", rate_bps) / bits)


def largest_tcp_rate_bps(
    rate_bps: float, *, mtu_bytes: float = 1500.0, frame_bytes: float, header_bytes: float = 40.0
) -> float:
    """Payload rate of a line full of largest frames. [bit/s]

    Source
    ------
    RFC 6349 section 4.1.1: (MTU - 40) x 8 x frames per second.
    """
    frames = frames_per_s(rate_bps, mtu_bytes=mtu_bytes, frame_bytes=frame_bytes)
    return (mtu_bytes - header_bytes) * BITS_PER_BYTE * frames


def transfer_time_ratio(actual_s: float, ideal_s: float) -> float:
    """How many times longer a transfer took than the line alone needs. [1]

    Source
    ------
    RFC 6349 section 4.1.2.
    """
    return positive("actual_s", actual_s) / positive("ideal_s", ideal_s)


def efficiency_frac(sent_bytes: float, resent_bytes: float) -> float:
    """Share of the sent bytes that were not repeats; `sent_bytes` includes them. [fraction]

    Source
    ------
    RFC 6349 section 4.2.1.
    """
    sent = positive("sent_bytes", sent_bytes)
    if not 0 <= resent_bytes <= sent:
        raise InputError(f"resent_bytes: expected 0 to {sent:g}, got {resent_bytes:g}")
    return (sent - resent_bytes) / sent


def buffer_delay_frac(loaded_rtt_s: float, base_rtt_s: float) -> float:
    """Growth of the round trip while the path is busy, over its idle value. [fraction]

    Source
    ------
    RFC 6349 section 4.3.1.
    """
    base = positive("base_rtt_s", base_rtt_s)
    return (positive("loaded_rtt_s", loaded_rtt_s) - base) / base


def initial_window_bytes(mss_bytes: float) -> float:
    """What a sender may send before the first answer. [bytes]

    Source
    ------
    RFC 6928 section 2, equation 1: min(10 MSS, max(2 MSS, 14600)).
    """
    mss = positive("mss_bytes", mss_bytes)
    return min(10.0 * mss, max(2.0 * mss, 14600.0))


def slow_start_rounds(n_packets: int, *, first_window: int = 10, growth_factor: float = 2.0) -> int:
    """Rounds in which a window growing by `growth_factor` sends `n_packets` without loss. [rounds]

    Notes
    -----
    The windows add up as a geometric series: ``ceil(log_g(n (g - 1) / w + 1))``.
    """
    if growth_factor <= 1:
        raise InputError(f"growth_factor: expected > 1, got {growth_factor:g}")
    rounds = math.log(n_packets * (growth_factor - 1.0) / first_window + 1.0, growth_factor)
    return math.ceil(rounds - 1e-12)


def reno_window_packets(loss_frac: "ArrayLike") -> "NDArray[np.float64]":
    """Mean window of Reno under independent loss. [packets]

    Source
    ------
    RFC 9438 section 5.1: 1.2 / sqrt(p).
    """
    return 1.2 / np.sqrt(_loss(loss_frac))


def cubic_window_packets(
    loss_frac: "ArrayLike", rtt_s: "ArrayLike", *, c: float = CUBIC_C
) -> "NDArray[np.float64]":
    """Mean window of CUBIC under independent loss, never below Reno's. [packets]

    Source
    ------
    RFC 9438 section 5.1, equation 6: (C 3.7 / 1.2)^(1/4) (RTT / p)^(3/4).
    """
    loss = _loss(loss_frac)
    cubic = (c * 3.7 / 1.2) ** 0.25 * (np.asarray(rtt_s, dtype=np.float64) / loss) ** 0.75
    return np.maximum(cubic, reno_window_packets(loss))


def cubic_loss_frac_for(
    rate_bps: float, rtt_s: float, *, packet_bytes: float = 1500.0, c: float = CUBIC_C
) -> float:
    """Loss at which CUBIC still reaches `rate_bps` in the mean. [fraction]

    The inverse of `cubic_window_packets` at the window that the rate needs.
    """
    window = positive("rate_bps", rate_bps) * positive("rtt_s", rtt_s)
    window /= positive("packet_bytes", packet_bytes) * BITS_PER_BYTE
    by_cubic = rtt_s * ((c * 3.7 / 1.2) ** 0.25 / window) ** (4.0 / 3.0)
    return float(max(by_cubic, (1.2 / window) ** 2))


def inverse_root_rate_bps(
    mss_bytes: float, rtt_s: float, loss_frac: "ArrayLike", *, factor: float = 0.93
) -> "NDArray[np.float64]":
    """Rate of Reno by the inverse square root of loss; too high where timeouts matter. [bit/s]

    Source
    ------
    RFC 3819 section 8.5.1: C MSS / (RTT sqrt(p)), C = 0.93 with random loss and delayed answers.
    """
    bits = positive("mss_bytes", mss_bytes) * BITS_PER_BYTE
    return factor * bits / (positive("rtt_s", rtt_s) * np.sqrt(_loss(loss_frac)))


def reno_rate_bps(
    mss_bytes: float, rtt_s: float, loss_frac: "ArrayLike", *, timeout_s: float | None = None
) -> "NDArray[np.float64]":
    """Rate of Reno with its timeouts; `timeout_s` is five round trips if not given. [bit/s]

    Source
    ------
    RFC 3819 section 8.5.1: MSS / (RTT sqrt(1.33 p) + RTO p (1 + 32 p^2) min(1, 3 sqrt(.75 p))).
    """
    loss, rtt = _loss(loss_frac), positive("rtt_s", rtt_s)
    timeout = 5.0 * rtt if timeout_s is None else positive("timeout_s", timeout_s)
    twice = np.minimum(1.0, 3.0 * np.sqrt(0.75 * loss))
    per_packet_s = rtt * np.sqrt(1.33 * loss) + timeout * loss * (1.0 + 32.0 * loss**2) * twice
    return positive("mss_bytes", mss_bytes) * BITS_PER_BYTE / per_packet_s


def tfrc_rate_bps(
    mss_bytes: float, rtt_s: float, loss_frac: "ArrayLike", *, timeout_s: float | None = None
) -> "NDArray[np.float64]":
    """Rate that a sender may use to be fair to Reno; `timeout_s` is four round trips if not given.

    [bit/s]

    Source
    ------
    RFC 5348 section 3.1, with b = 1: s / (R sqrt(2p/3) + t_RTO 3 sqrt(3p/8) p (1 + 32 p^2)).
    """
    loss, rtt = _loss(loss_frac), positive("rtt_s", rtt_s)
    timeout = 4.0 * rtt if timeout_s is None else positive("timeout_s", timeout_s)
    lost_s = timeout * 3.0 * np.sqrt(3.0 * loss / 8.0) * loss * (1.0 + 32.0 * loss**2)
    per_packet_s = rtt * np.sqrt(2.0 * loss / 3.0) + lost_s
    return positive("mss_bytes", mss_bytes) * BITS_PER_BYTE / per_packet_s


def renewal_rate_bps(
    mss_bytes: float,
    rtt_s: float,
    loss_frac: "ArrayLike",
    *,
    timeout_s: float,
    most_packets: float = math.inf,
    n_per_answer: int = 2,
) -> "NDArray[np.float64]":
    """Rate of Reno with timeouts and a largest window, by renewal theory. [bit/s]

    Source
    ------
    J. Padhye, V. Firoiu, D. Towsley, J. Kurose, "Modeling TCP throughput: a simple model and its
    empirical validation", SIGCOMM 1998, the approximate model (formula from memory):
    min(W / RTT, 1 / (RTT sqrt(2bp/3) + T0 min(1, 3 sqrt(3bp/8)) p (1 + 32 p^2))).
    """
    loss, rtt = _loss(loss_frac), positive("rtt_s", rtt_s)
    b = count("n_per_answer", n_per_answer)
    twice = np.minimum(1.0, 3.0 * np.sqrt(3.0 * b * loss / 8.0))
    lost_s = positive("timeout_s", timeout_s) * twice * loss * (1.0 + 32.0 * loss**2)
    per_packet_s = rtt * np.sqrt(2.0 * b * loss / 3.0) + lost_s
    rate = np.minimum(most_packets / rtt, 1.0 / per_packet_s)
    return positive("mss_bytes", mss_bytes) * BITS_PER_BYTE * rate


def timeout_s(rtts_s: "Sequence[float]", *, least_s: float = LEAST_TIMEOUT_S) -> float:
    """How long a sender waits for an answer after having seen `rtts_s`, in order. [s]

    Source
    ------
    RFC 6298 section 2: the deviation is updated with the old smoothed round trip.
    """
    if len(rtts_s) == 0:
        return 1.0  # section 2.1
    smoothed = positive("rtts_s", rtts_s[0])
    deviation = smoothed / 2.0
    for rtt in rtts_s[1:]:
        deviation = 0.75 * deviation + 0.25 * abs(smoothed - positive("rtts_s", rtt))
        smoothed = 0.875 * smoothed + 0.125 * rtt
    return max(least_s, smoothed + max(_CLOCK_S, 4.0 * deviation))


def _loss(loss_frac: "ArrayLike") -> "NDArray[np.float64]":
    loss = np.asarray(loss_frac, dtype=np.float64)
    if not ((loss > 0) & (loss <= 1)).all():
        wrong = loss[~((loss > 0) & (loss <= 1))].flat[0]
        raise InputError(f"loss_frac: expected above 0 and at most 1, got {wrong:g}")
    return loss
