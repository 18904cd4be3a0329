"""Bytes that travel besides the payload: headers, tunnels, frames, TLS records.

Packet layouts: IPv4 20 bytes (RFC 791), IPv6 40 (RFC 8200), TCP 20 (RFC 9293) and 12 more with
timestamps and their padding (RFC 7323), UDP 8 (RFC 768).
"""

from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, non_negative_array, positive
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

IPV4_BYTES = 20
IPV6_BYTES = 40
TCP_BYTES = 20
TCP_TIMESTAMPS_BYTES = 12
UDP_BYTES = 8
ETHERNET_BYTES = 38  # header 14, CRC 4, gap 12, preamble 7, start of frame 1 (RFC 6349 4.1.1)
TCP_IPV4_BYTES = IPV4_BYTES + TCP_BYTES + TCP_TIMESTAMPS_BYTES
MTU_BYTES = 1500.0
MSS_BYTES = MTU_BYTES - TCP_IPV4_BYTES
TLS_RECORD_BYTES = 22  # header 5, content type 1, tag 16 (RFC 8446 5.1 to 5.2, RFC 9001 5.3)
TLS_PLAINTEXT_BYTES = 16384  # largest record, RFC 8446 5.1


def udp_tunnel_overhead_bytes(*, ip_version: int = 4) -> int:
    """Bytes that an encrypting UDP tunnel adds to each packet. [bytes]

    Notes
    -----
    Outer IP header, UDP 8, message type 4, receiver index 4, counter 8, authentication tag 16:
    60 bytes over IPv4 and 80 over IPv6.
    """
    if ip_version not in (4, 6):
        raise InputError(f"ip_version: expected 4 or 6, got {ip_version!r}")
    outer = IPV4_BYTES if ip_version == 4 else IPV6_BYTES
    return outer + UDP_BYTES + 4 + 4 + 8 + 16


def mss_bytes(
    *, mtu_bytes: float = MTU_BYTES, header_bytes: float = TCP_IPV4_BYTES, tunnel_bytes: float = 0.0
) -> float:
    """Largest payload of one packet, so that the packet with its tunnel fits the MTU. [bytes]"""
    payload = (
        positive("mtu_bytes", mtu_bytes)
        - non_negative("header_bytes", header_bytes)
        - non_negative("tunnel_bytes", tunnel_bytes)
    )
    if payload < 1:
        raise InputError(
            f"mtu_bytes: expected room for {header_bytes + tunnel_bytes:g} bytes of headers and "
            f"a payload, got {mtu_bytes:g}; raise the MTU or check the tunnel's overhead"
        )
    return payload


def goodput_share_frac(
    *,
    mtu_bytes: float = MTU_BYTES,
    header_bytes: float = TCP_IPV4_BYTES,
    tunnel_bytes: float = 0.0,
    frame_bytes: float = 0.0,
) -> float:
    """Payload over all bytes on the wire, for full packets. [fraction]

    `frame_bytes` is what the layer below adds to each packet (Ethernet: 38).
    """
    payload = mss_bytes(mtu_bytes=mtu_bytes, header_bytes=header_bytes, tunnel_bytes=tunnel_bytes)
    return payload / (mtu_bytes + non_negative("frame_bytes", frame_bytes))


def tls_payload_bytes(size_bytes: "ArrayLike") -> "NDArray[np.float64]":
    """`size_bytes` with the TLS 1.3 records around it, each as full as it may be. [bytes]"""
    size = non_negative_array("size_bytes", size_bytes)
    return size + np.ceil(size / TLS_PLAINTEXT_BYTES) * TLS_RECORD_BYTES
