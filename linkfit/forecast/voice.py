"""Quality of a voice call: the E-model's rating from delay, loss and bursts, and what it sends.

Narrowband telephony with everything but the network at its default: what linkfit can forecast
is delay and loss. A wideband codec sounds better than its rating here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.errors import InputError
from linkfit.forecast.overhead import IPV4_BYTES, IPV6_BYTES, UDP_BYTES
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

BEST_RATING = 93.2  # ITU-T G.107, all parameters at their default (quoted elsewhere)
GOOD_RATING = 70.0  # MOS 3.6, "some users dissatisfied" below it: G.107 table B.1, from memory
RTP_BYTES = 12
GOOD_DELAY_S, MOST_DELAY_S = 0.15, 0.4  # one way, ITU-T G.114 (quoted elsewhere)
# packet of 20 ms, encoder's look-ahead and the receiver's buffer; common practice
DEVICES_DELAY_S = 0.08
_DELAY_SLOPE_PER_S, _LATE_SLOPE_PER_S, _LATE_S = 24.0, 110.0, 0.1773


@dataclass(frozen=True, slots=True, kw_only=True)
class Codec:
    """A voice codec: payload of a packet [bytes], packets a second, and how loss hurts it.

    `impairment` is Ie (0: none of its own) and `robustness` Bpl of the E-model.
    """

    name: str
    payload_bytes: float
    packets_per_s: float
    impairment: float
    robustness: float
    source: str


CODECS: Mapping[str, Codec] = MappingProxyType({
    codec.name: codec
    for codec in (
        Codec(name="G.711", payload_bytes=160, packets_per_s=50, impairment=0.0, robustness=25.1,
              source="ITU-T G.113 appendix I, with loss concealment (quoted elsewhere)"),
        Codec(name="G.729A", payload_bytes=20, packets_per_s=50, impairment=11.0, robustness=19.0,
              source="ITU-T G.113 appendix I, with voice activity detection (quoted elsewhere)"),
        # 30 kbit/s: RFC 7587 section 3.1.1 recommends 28 to 40 for full-band speech; no Ie and
        # Bpl of G.113 were at hand, so those of G.711 stand in: a judgement
        Codec(name="Opus", payload_bytes=75, packets_per_s=50, impairment=0.0, robustness=25.1,
              source="RFC 7587 section 3.1.1 for the rate; loss as for G.711, a judgement"),
    )
})  # fmt: skip


def call_rate_bps(
    codec: Codec, *, extra_bytes: float = 0.0, ip_version: int = 4, packet_s: float | None = None
) -> float:
    """Rate of one voice stream, one way, with RTP, UDP and IP headers. [bit/s]

    Parameters
    ----------
    extra_bytes : float
        What else each packet carries: 18 for Ethernet, a tunnel's overhead. [bytes]
    ip_version : {4, 6}
        20 or 40 bytes of header.
    packet_s : float, optional
        Speech in a packet, if not the codec's own. [s]

    Notes
    -----
    (payload + 12 + 8 + 20) x 8 x packets a second: headers of RFC 3550, RFC 768, RFC 791.
    """
    if ip_version not in (4, 6):
        raise InputError(f"ip_version: expected 4 or 6, got {ip_version!r}")
    headers = RTP_BYTES + UDP_BYTES + (IPV4_BYTES if ip_version == 4 else IPV6_BYTES) + extra_bytes
    own_packet_s = 1.0 / codec.packets_per_s
    each_s = own_packet_s if packet_s is None else positive("packet_s", packet_s)
    payload_bytes = codec.payload_bytes * each_s / own_packet_s
    return (payload_bytes + headers) * BITS_PER_BYTE / each_s


def delay_impairment(delay_s: "ArrayLike") -> "NDArray[np.float64]":
    """Rating lost to the one-way delay from mouth to ear. [points of R]

    Notes
    -----
    0.024 d + 0.11 (d - 177.3) where d exceeds 177.3 ms: a fit to G.107 at its default echo.

    Source
    ------
    R. G. Cole and J. H. Rosenbluth, "Voice over IP performance monitoring", ACM SIGCOMM
    Computer Communication Review 31(2), 2001 (quoted elsewhere).
    """
    delay = np.asarray(delay_s, dtype=np.float64)
    late = np.maximum(delay - _LATE_S, 0.0)
    return np.asarray(_DELAY_SLOPE_PER_S * delay + _LATE_SLOPE_PER_S * late)


def most_delay_s(impairment: "ArrayLike") -> "NDArray[np.float64]":
    """Longest delay that costs at most `impairment` points; negative where none may. [s]"""
    points = np.asarray(impairment, dtype=np.float64)
    at_knee = _DELAY_SLOPE_PER_S * _LATE_S
    beyond = (points - at_knee) / (_DELAY_SLOPE_PER_S + _LATE_SLOPE_PER_S)
    return np.where(points <= at_knee, points / _DELAY_SLOPE_PER_S, _LATE_S + beyond)


def loss_impairment(
    codec: Codec, loss_frac: "ArrayLike", burst_ratio: "ArrayLike" = 1.0
) -> "NDArray[np.float64]":
    """Rating lost to codec and packet loss: Ie,eff. [points of R]

    Parameters
    ----------
    loss_frac : array
        Packets lost over packets sent. [fraction]
    burst_ratio : array
        Mean burst of losses over that of independent losses, >= 1. [1]

    Notes
    -----
    Ie + (95 - Ie) Ppl / (Ppl / BurstR + Bpl), Ppl in percent.

    Source
    ------
    ITU-T G.107 section 7.5 (quoted elsewhere).
    """
    percent = 100.0 * np.asarray(loss_frac, dtype=np.float64)
    softened = percent / np.asarray(burst_ratio, dtype=np.float64) + codec.robustness
    return np.asarray(codec.impairment + (95.0 - codec.impairment) * percent / softened)


def gilbert_burst_ratio(
    loss_frac: "ArrayLike", mean_burst_packets: "ArrayLike"
) -> "NDArray[np.float64]":
    """BurstR of a Gilbert chain: its mean burst over 1 / (1 - loss), that of chance. [1]

    Source
    ------
    ITU-T G.107 section 7.5: 1 / (p + q) of the chain (value from memory), which is the same.
    """
    chance_packets = 1.0 / (1.0 - np.minimum(np.asarray(loss_frac, dtype=np.float64), 0.99))
    return np.maximum(np.asarray(mean_burst_packets, dtype=np.float64) / chance_packets, 1.0)


def rating(
    codec: Codec,
    *,
    delay_s: "ArrayLike",
    loss_frac: "ArrayLike" = 0.0,
    burst_ratio: "ArrayLike" = 1.0,
) -> "NDArray[np.float64]":
    """Transmission rating R of the E-model, 0 to 93.2; arguments broadcast. [points]

    Parameters
    ----------
    delay_s : array
        One way, from mouth to ear. [s]
    loss_frac, burst_ratio : array
        As in `loss_impairment`.
    """
    lost = delay_impairment(delay_s) + loss_impairment(codec, loss_frac, burst_ratio)
    return np.maximum(BEST_RATING - lost, 0.0)


def opinion_score(points: "ArrayLike") -> "NDArray[np.float64]":
    """Mean opinion score of a rating, 1 to 4.5.

    Source
    ------
    ITU-T G.107 annex B: 1 + 0.035 R + R (R - 60) (100 - R) 7e-6, 1 below and 4.5 above.
    """
    r = np.clip(np.asarray(points, dtype=np.float64), 0.0, 100.0)
    return np.asarray(1.0 + 0.035 * r + r * (r - 60.0) * (100.0 - r) * 7e-6)
