"""Interactive activities: what each sends, and within which delay a moment of it is good."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.forecast.voice import (
    BEST_RATING,
    CODECS,
    DEVICES_DELAY_S,
    GOOD_RATING,
    MOST_DELAY_S,
    Codec,
    call_rate_bps,
    loss_impairment,
    most_delay_s,
)
from linkfit.units import BITS_PER_BYTE, format_duration

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.latency_unknowns import LatencyUnknowns

ECHO_TARGET_S = 0.25  # ITU-T G.1010: 0.2 s for terminal work, value from memory; and a little
# How long an answer may take to feel at once, to keep the flow of thought, to keep attention:
# J. Nielsen, Usability Engineering, 1993, ch. 5 (0.1 s quoted elsewhere, 1 and 10 s from memory)
RESPONSE_LIMITS_S = (0.1, 1.0, 10.0)
_LEAST_TIMEOUT_S = 1.0  # RFC 6298 section 2.4
_FELT = ("at once", "flow kept", "attention kept", "attention lost")
_ECHO_BYTES = 150.0  # a key and its encryption, headers included; common practice
_VIDEO_PACKET_BYTES = 1200.0  # common practice
VIDEO_BPS = 655e3  # VGA video and speech at the IP layer; common practice
CODEC = CODECS["Opus"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """Something a person does that a late packet spoils.

    Parameters
    ----------
    name, measure, good : str
        What it is, what its time means, and when a moment of it is good, in words.
    own_bps : float
        What it sends all the time besides. [bit/s]
    own_bits : float
        The packet that must not be late. [bits]
    round_trips : float
        Round trips that its time holds: one for an echo, half of one for a call. [1]
    fixed_s, timeout_s : float
        What the devices add, and what a lost packet adds. [s]
    target_s : float or None
        Longest good time; None: as long as the E-model rates `codec` at least 70. [s]
    """

    name: str
    measure: str
    good: str
    own_bps: float
    own_bits: float
    round_trips: float
    fixed_s: float = 0.0
    timeout_s: float = 0.0
    target_s: float | None = None
    codec: Codec | None = None

    def base_s(
        self, rtts_s: "NDArray[np.float64]", lost: "NDArray[np.bool_]"
    ) -> "NDArray[np.float64]":
        """Its time apart from queue and link, given round trips and which were lost. [s]"""
        return rtts_s * self.round_trips + self.fixed_s + np.where(lost, self.timeout_s, 0.0)

    def within_s(self, unknowns: "LatencyUnknowns") -> "NDArray[np.float64]":
        """Longest good time of each row, shape (d,). [s]"""
        if self.codec is None:
            return np.full(unknowns.loss_frac.shape, self.target_s)
        lost = loss_impairment(self.codec, unknowns.loss_frac, unknowns.burst_ratio)
        return most_delay_s(BEST_RATING - GOOD_RATING - lost)


def key_echo(within_s: float = ECHO_TARGET_S, tunnel_bytes: float = 0.0) -> Activity:
    """A key typed in a remote shell, until it shows.

    A lost packet costs the least timeout of RFC 6298, one second.
    """
    target_s = positive("within_s", within_s)
    return Activity(
        name="key echo",
        measure="from key to screen",
        good=f"within {format_duration(target_s)}",
        own_bps=0.0,
        own_bits=(_ECHO_BYTES + tunnel_bytes) * BITS_PER_BYTE,
        round_trips=1.0,
        timeout_s=_LEAST_TIMEOUT_S,
        target_s=target_s,
    )


def voice_call(tunnel_bytes: float = 0.0, codec: Codec = CODEC) -> Activity:
    """One voice call; a moment is good while the E-model rates it at least 70."""
    rate_bps = call_rate_bps(codec, extra_bytes=tunnel_bytes)
    return Activity(
        name="voice call",
        measure="mouth to ear",
        good=f"rating R at least {GOOD_RATING:.0f} (MOS 3.6)",
        own_bps=rate_bps,
        own_bits=rate_bps / codec.packets_per_s,
        round_trips=0.5,
        fixed_s=DEVICES_DELAY_S,
        codec=codec,
    )


def video_call(tunnel_bytes: float = 0.0, rate_bps: float = VIDEO_BPS) -> Activity:
    """One video call; a moment is good while it is at most 400 ms late."""
    packet_bytes = _VIDEO_PACKET_BYTES + tunnel_bytes
    return Activity(
        name="video call",
        measure="mouth to ear",
        good=f"within {format_duration(MOST_DELAY_S)}",
        own_bps=positive("rate_bps", rate_bps) * packet_bytes / _VIDEO_PACKET_BYTES,
        own_bits=packet_bytes * BITS_PER_BYTE,
        round_trips=0.5,
        fixed_s=DEVICES_DELAY_S,
        target_s=MOST_DELAY_S,
    )


def felt(time_s: float) -> str:
    """How an answer after `time_s` feels, in words."""
    return _FELT[sum(time_s > limit_s for limit_s in RESPONSE_LIMITS_S)]
