"""Packet sizes inside a tunnel: MTU, MSS, and what the tunnel takes of the link."""

from dataclasses import dataclass

from linkfit._checks import positive
from linkfit.errors import InputError
from linkfit.forecast.overhead import (
    IPV4_BYTES,
    IPV6_BYTES,
    MTU_BYTES,
    TCP_BYTES,
    TCP_IPV4_BYTES,
    goodput_share_frac,
    udp_tunnel_overhead_bytes,
)

SAFE_INNER_MTU_BYTES = 1280.0  # every IPv6 link carries so much (RFC 8200 section 5)
# tunnels of the carrier's own core, before any of ours: outer IPv4 20, UDP 8, header 8, and 8
# more with the extension of the fifth generation (3GPP TS 29.281, as other texts quote it)
CARRIER_TUNNEL_BYTES = (36.0, 44.0)
_LEAST_MTU_BYTES = 576.0  # every IPv4 host takes so much (RFC 791)


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelSizes:
    """Sizes in bytes for a link with packets of at most `mtu_bytes`, tunnel included.

    Parameters
    ----------
    mtu_bytes, overhead_bytes : float
        Largest packet of the link, and what the tunnel adds to each.
    """

    mtu_bytes: float
    overhead_bytes: float

    def __post_init__(self) -> None:
        if positive("mtu", self.mtu_bytes) - positive("overhead", self.overhead_bytes) < (
            _LEAST_MTU_BYTES
        ):
            raise InputError(
                f"mtu: expected room for {_LEAST_MTU_BYTES:g} bytes inside the tunnel's "
                f"{self.overhead_bytes:g}, got {self.mtu_bytes:g}; check the MTU"
            )

    @property
    def inner_mtu_bytes(self) -> float:
        """Largest packet inside the tunnel. [bytes]"""
        return self.mtu_bytes - self.overhead_bytes

    def inner_mss_bytes(self, ip_version: int) -> float:
        """Largest TCP segment inside the tunnel, as a clamp wants it (no options). [bytes]"""
        header = IPV4_BYTES if ip_version == 4 else IPV6_BYTES
        return self.inner_mtu_bytes - header - TCP_BYTES

    @property
    def overhead_frac(self) -> float:
        """Part of a full packet that is the tunnel's. [fraction]"""
        return self.overhead_bytes / self.mtu_bytes

    @property
    def goodput_frac(self) -> float:
        """Payload of full packets over all bytes of the link: TCP over IPv4 inside. [fraction]"""
        return goodput_share_frac(
            mtu_bytes=self.mtu_bytes,
            header_bytes=TCP_IPV4_BYTES,
            tunnel_bytes=self.overhead_bytes,
        )

    @property
    def carries_ipv6(self) -> bool:
        """Is there room for IPv6 inside the tunnel?"""
        return self.inner_mtu_bytes >= SAFE_INNER_MTU_BYTES


def tunnel_sizes(
    *, mtu_bytes: float = MTU_BYTES, ip_version: int = 4, overhead_bytes: float | None = None
) -> TunnelSizes:
    """Sizes of an encrypting UDP tunnel over IPv4 or IPv6, or of one that adds `overhead_bytes`."""
    if overhead_bytes is None:
        overhead_bytes = float(udp_tunnel_overhead_bytes(ip_version=ip_version))
    return TunnelSizes(mtu_bytes=mtu_bytes, overhead_bytes=overhead_bytes)


def safe_sizes(overhead_bytes: float) -> TunnelSizes:
    """Sizes that pass wherever IPv6 does: 1280 bytes inside the tunnel."""
    return TunnelSizes(
        mtu_bytes=SAFE_INNER_MTU_BYTES + overhead_bytes, overhead_bytes=overhead_bytes
    )
