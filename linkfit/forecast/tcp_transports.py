"""What TCP and QUIC differ in: headers, handshake, first window, and when a silence is a loss."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.errors import InputError
from linkfit.forecast.overhead import (
    IPV4_BYTES,
    MTU_BYTES,
    TCP_IPV4_BYTES,
    UDP_BYTES,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

FIRST_PTO_RTT_S = 0.333  # kInitialRtt, RFC 9002 section 6.2.2
CLOCK_S = 0.001  # kGranularity, RFC 9002 section 6.1.2
MAX_ACK_DELAY_S = 0.025  # max_ack_delay by default, RFC 9000 section 18.2 (value from memory)
PERSISTENT_PTOS = 3  # kPersistentCongestionThreshold, RFC 9002 section 7.6.1
FIRST_TIMEOUT_S = 1.0  # RFC 6298 section 2.1
LEAST_TIMEOUT_S = 0.2  # common kernels; RFC 6298 section 2.4 asks for 1 s
MOST_TIMEOUT_S = 60.0  # RFC 6298 section 2.5 allows a ceiling of at least 60 s
_SYN_BYTES = 60.0  # IPv4 20, TCP 20, options 20 (segment size, timestamps, window scale, SACK)
_HELLO_BYTES = 569.0  # a TLS client's first message of 517 bytes (common practice) and its headers
_INITIAL_BYTES = 1200.0 + UDP_BYTES + IPV4_BYTES  # the least first datagram, RFC 9000 section 14.1
# a short header with 8 bytes of connection and 2 of packet number, tag 16 (RFC 9000 17.3.1, RFC
# 9001 5.3), and the head of a stream frame: type 1, stream 2, offset 4, length 2
_QUIC_BYTES = IPV4_BYTES + UDP_BYTES + 27 + 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Transport:
    """What a sender's protocol costs and how it takes a silence.

    Parameters
    ----------
    header_bytes : float
        Of a full packet, from IP on. [bytes]
    first_bytes : tuple of float
        Messages of the handshake's round trips; the last stands for all further ones. [bytes]
    encrypts : bool
        Encryption is part of it: no round trip and no records on top.
    first_timeout_s : float
        Before any round trip was seen. [s]
    least_timeout_s : float
        What a timeout is longer than a round trip, at least. [s]
    most_timeout_s : float
        Where its doubling ends; inf: nowhere. [s]
    n_persistent_timeouts : int
        A silence that outlasts so many timeouts puts the window to its least; 0: any does.
    least_window_packets : float
        The window then.
    """

    header_bytes: float
    first_bytes: tuple[float, ...]
    encrypts: bool
    first_timeout_s: float
    least_timeout_s: float
    most_timeout_s: float
    n_persistent_timeouts: int
    least_window_packets: float

    def first_window_packets(self, mss_bytes: float) -> int:
        """Packets that may leave before the first answer."""
        if not self.encrypts:
            return max(int(initial_window_bytes(mss_bytes) // mss_bytes), 1)
        datagram_bytes = mss_bytes + self.header_bytes - IPV4_BYTES - UDP_BYTES
        return max(int(quic_initial_window_bytes(datagram_bytes) // datagram_bytes), 1)

    def message_bytes(self, trip: int) -> float:
        """What the handshake's round trip `trip` puts on the link. [bytes]"""
        return self.first_bytes[min(trip, len(self.first_bytes) - 1)]

    def is_persistent(
        self, silence_s: "NDArray[np.float64]", rtt_s: "NDArray[np.float64]"
    ) -> "NDArray[np.bool_]":
        """Does a silence so long take the window away?"""
        return silence_s >= self.n_persistent_timeouts * (rtt_s + self.least_timeout_s)


TRANSPORTS: Mapping[str, Transport] = MappingProxyType({
    "tcp": Transport(
        header_bytes=TCP_IPV4_BYTES, first_bytes=(_SYN_BYTES, _HELLO_BYTES), encrypts=False,
        first_timeout_s=FIRST_TIMEOUT_S, least_timeout_s=LEAST_TIMEOUT_S,
        most_timeout_s=MOST_TIMEOUT_S, n_persistent_timeouts=0, least_window_packets=1.0,
    ),
    "quic": Transport(
        header_bytes=_QUIC_BYTES, first_bytes=(_INITIAL_BYTES,), encrypts=True,
        first_timeout_s=FIRST_PTO_RTT_S * 3.0, least_timeout_s=MAX_ACK_DELAY_S + CLOCK_S,
        most_timeout_s=np.inf, n_persistent_timeouts=PERSISTENT_PTOS, least_window_packets=2.0,
    ),
})  # fmt: skip


def transport_named(name: str) -> Transport:
    """The transport called `name`.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name not in TRANSPORTS:
        raise InputError(f"transport: expected {' or '.join(TRANSPORTS)}, got {name!r}")
    return TRANSPORTS[name]


def largest_payload_bytes(transport: Transport, *, mtu_bytes: float = MTU_BYTES) -> float:
    """Payload of a full packet. [bytes]"""
    return mtu_bytes - transport.header_bytes


def initial_window_bytes(mss_bytes: float) -> float:
    """What a TCP sender may send before the first answer. [bytes]

    Source
    ------
    RFC 6928 section 2, equation 1: min(10 MSS, max(2 MSS, 14600)).
    """
    mss = positive("mss_bytes", mss_bytes)
    return min(10.0 * mss, max(2.0 * mss, 14600.0))


def quic_initial_window_bytes(datagram_bytes: float) -> float:
    """What a QUIC sender may send before the first answer. [bytes]

    Source
    ------
    RFC 9002 section 7.2: min(10 max_datagram_size, max(14720, 2 max_datagram_size)).
    """
    datagram = positive("datagram_bytes", datagram_bytes)
    return min(10.0 * datagram, max(14720.0, 2.0 * datagram))
