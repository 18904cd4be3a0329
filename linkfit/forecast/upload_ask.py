"""What is to be uploaded, and what the path refuses or breaks, said by hand or by a site file."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from linkfit._checks import count, fraction, non_negative, one_of, positive
from linkfit.forecast.breaks import OUTAGE_S
from linkfit.forecast.hours import open_frac, site_intervals
from linkfit.forecast.overhead import (
    MTU_BYTES,
    TLS_PLAINTEXT_BYTES,
    TLS_RECORD_BYTES,
    goodput_share_frac,
)

if TYPE_CHECKING:
    from linkfit.site.model import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadAsk:
    """What is to be sent, and what the path refuses or breaks.

    Parameters
    ----------
    size_bytes, n_items : float, int
        Payload of one item, and how many there are.
    flow : {"out", "in"}
        From the server: out sends (link up), in receives (link down).
    body_limit_bytes : float, optional
        Largest request. [bytes]
    idle_timeout_s, total_timeout_s : float
        Silence after which a connection is broken, and longest time of one request (None:
        no limit). [s]
    drops_per_day : float
        Breaks besides outages: changes of address, restarts, the end of the day's hours. [1/day]
    remote_rate_bps, lane_limit_bps : float, optional
        The far end's own limit, and what one connection reaches at most. [bit/s]
    per_item_s : float
        What each item costs besides its bytes. [s]
    same_link_share_frac : float
        Share of the items whose client is on the same link as the server and reaches it by the
        public name: they cross the link both ways.
    relay_rtt_s : float
        Round trip beyond the link. [s]
    chunk_bytes : float, optional
        Size of a request that the client uses; the recommended one if not given.
    whole : bool
        The client cannot send in pieces.
    """

    size_bytes: float
    n_items: int = 20
    flow: str = "out"
    body_limit_bytes: float | None = None
    idle_timeout_s: float = OUTAGE_S
    total_timeout_s: float | None = None
    drops_per_day: float = 0.0
    remote_rate_bps: float | None = None
    lane_limit_bps: float | None = None
    per_item_s: float = 0.0
    same_link_share_frac: float = 0.0
    relay_rtt_s: float = 0.0
    tunnel_overhead_bytes: float = 0.0
    mtu_bytes: float = MTU_BYTES
    chunk_bytes: float | None = None
    whole: bool = False

    def __post_init__(self) -> None:
        one_of("flow", self.flow, ("out", "in"))
        positive("size", self.size_bytes)
        count("items", self.n_items)
        positive("idle_timeout", self.idle_timeout_s)
        fraction("same_link_share", self.same_link_share_frac)
        for name in ("drops_per_day", "per_item_s", "relay_rtt_s", "tunnel_overhead_bytes"):
            non_negative(name, getattr(self, name))
        for name in (
            "body_limit_bytes", "total_timeout_s", "remote_rate_bps", "lane_limit_bps",
            "chunk_bytes",
        ):  # fmt: skip
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))

    @property
    def direction(self) -> str:
        """Direction of the link."""
        return "up" if self.flow == "out" else "down"

    @property
    def goodput_frac(self) -> float:
        """Payload over bytes on the link: headers, tunnel, TLS records. [fraction]"""
        packets = goodput_share_frac(
            mtu_bytes=self.mtu_bytes, tunnel_bytes=self.tunnel_overhead_bytes
        )
        return packets / (1.0 + TLS_RECORD_BYTES / TLS_PLAINTEXT_BYTES)

    @property
    def request_timeout_s(self) -> float:
        """Within which one request should end: a relay may be silent until it is whole. [s]"""
        return min(self.total_timeout_s or math.inf, self.idle_timeout_s)

    def carries(self, piece_bytes: float) -> bool:
        """Does the path's body limit let a request of this size pass?"""
        return self.body_limit_bytes is None or piece_bytes <= self.body_limit_bytes


def site_limits(site: "Site", flow: str) -> dict[str, Any]:
    """What `site` says of the path of an upload, as arguments of `UploadAsk`.

    Notes
    -----
    A relay's body limit holds for what clients send in; what the server sends is no request.
    The end of each day's hours breaks what is under way, once for each part of the day. Which
    service the uploads belong to is not known, so a local name of its own is not seen.
    """
    path = site.path
    intervals = site_intervals(site.hours)
    # one that ends at midnight goes on at once where another starts there
    over_midnight = len(intervals) > 1 and intervals[0][0] == 0 and intervals[-1][1] == 24
    closings = 0 if open_frac(intervals) == 1 else len(intervals) - over_midnight
    limits: dict[str, Any] = {
        "tunnel_overhead_bytes": path.tunnel_overhead_bytes,
        "mtu_bytes": path.mtu_bytes,
        "drops_per_day": float(closings),
        "same_link_share_frac": path.same_link_share_frac,
    }
    if path.idle_timeout_s is not None:
        limits["idle_timeout_s"] = path.idle_timeout_s
    if path.entry == "relay":
        limits["relay_rtt_s"] = path.relay_rtt_s
        if flow == "in":
            limits["body_limit_bytes"] = path.body_limit_bytes
    return limits
