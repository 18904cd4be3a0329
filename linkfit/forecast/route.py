"""Requests over the way a client really takes: relay, tunnel, TLS, the far end's own limit."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from linkfit._checks import count, fraction, non_negative, non_negative_array, positive
from linkfit.forecast.overhead import MTU_BYTES, TCP_IPV4_BYTES, mss_bytes, tls_payload_bytes
from linkfit.forecast.tcp import transfer_times_s

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    from linkfit.link.paths import CapacityPaths


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """How a client reaches the server, apart from the link itself.

    Parameters
    ----------
    tls : bool
        TLS 1.3 inside: one more round trip and its records.
    handshake_round_trips : int or None
        Round trips before the first request; None: 1 for TCP and 1 more with `tls`; 0: the
        connection stands already.
    relay_rtt_s : float
        Round trip from the link's far end to the relay and on, on top of the link's own. [s]
    tunnel_overhead_bytes : float
        What the tunnel adds to each packet. [bytes]
    mtu_bytes : float
        Largest packet of the link, tunnel included. [bytes]
    remote_rate_bps : float or None
        The far end's own limit. [bit/s]
    n_flows : int
        Connections that share the payload.
    server_time_s : float
        From the request's arrival to the first byte of its answer. [s]
    """

    tls: bool = True
    handshake_round_trips: int | None = None
    relay_rtt_s: float = 0.0
    tunnel_overhead_bytes: float = 0.0
    mtu_bytes: float = MTU_BYTES
    remote_rate_bps: float | None = None
    n_flows: int = 1
    server_time_s: float = 0.0
    congestion: str = "cubic"
    buffer_bytes: float = 3e5
    loss_frac: float = 0.0

    def __post_init__(self) -> None:
        for name in ("relay_rtt_s", "tunnel_overhead_bytes", "server_time_s"):
            non_negative(name, getattr(self, name))
        if self.handshake_round_trips is not None:
            count("handshake_round_trips", self.handshake_round_trips, least=0)
        if self.remote_rate_bps is not None:
            positive("remote_rate_bps", self.remote_rate_bps)
        count("n_flows", self.n_flows)
        fraction("loss_frac", self.loss_frac)
        mss_bytes(mtu_bytes=self.mtu_bytes, tunnel_bytes=self.tunnel_overhead_bytes)

    @property
    def mss_bytes(self) -> float:
        """Payload of a full packet. [bytes]"""
        return mss_bytes(mtu_bytes=self.mtu_bytes, tunnel_bytes=self.tunnel_overhead_bytes)


def request_times_s(
    paths: "CapacityPaths",
    *,
    starts_s: "ArrayLike",
    draws: "ArrayLike",
    sizes_bytes: "ArrayLike",
    rtts_s: "ArrayLike",
    route: Route,
    n_requests: int = 1,
    n_parallel: int = 1,
    gap_s: "ArrayLike" = 0.0,
) -> "NDArray[np.float64]":
    """Time of one task: `n_requests` requests over one set of connections. [s]

    Parameters
    ----------
    paths : CapacityPaths
        Of the direction in which the payload goes. For flow "both" call once a direction and
        take the larger.
    starts_s, draws, sizes_bytes, rtts_s : array, shape (n,)
        Start on the path [s], row of `paths`, payload of ALL requests of the task [bytes], and
        the link's own round trip without queues [s]; they broadcast.
    n_requests, n_parallel : int
        Requests of the task and how many of them are under way at once.
    gap_s : array, shape (n,)
        From an answer's arrival to the next request on its lane: a person's pause. [s]

    Returns
    -------
    times_s : array, shape (n,)
        From the first packet to the last byte's arrival. [s]

    Notes
    -----
    The next request leaves when an answer has arrived, `gap_s` later; one connection serves
    them all, so its window grows from request to request (`tcp_requests`). The server's time
    comes before each answer.
    """
    count("n_requests", n_requests)
    count("n_parallel", n_parallel)
    starts = non_negative_array("starts_s", starts_s)
    rtts = non_negative_array("rtts_s", rtts_s) + route.relay_rtt_s
    sizes = non_negative_array("sizes_bytes", sizes_bytes)
    if route.remote_rate_bps is not None:
        paths = paths.limited(route.remote_rate_bps)
    server_s = route.server_time_s
    return server_s + transfer_times_s(
        paths,
        starts + server_s,
        tls_payload_bytes(sizes / n_requests) * n_requests if route.tls else sizes,
        rtts,
        draws=draws,
        congestion=route.congestion,
        n_flows=route.n_flows,
        tls=route.tls,
        buffer_bytes=route.buffer_bytes,
        loss_frac=route.loss_frac,
        handshake_round_trips=route.handshake_round_trips,
        header_bytes=TCP_IPV4_BYTES + route.tunnel_overhead_bytes,
        mss_bytes=route.mss_bytes,
        n_requests=n_requests,
        n_parallel=n_parallel,
        gap_s=server_s + non_negative_array("gap_s", gap_s),
    )
