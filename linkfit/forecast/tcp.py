"""Transfer times of TCP over CapacityPaths: a fluid model, all transfers at once."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, fraction, non_negative, non_negative_array, one_of, positive
from linkfit.errors import InputError
from linkfit.forecast.overhead import MSS_BYTES, TCP_IPV4_BYTES
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from linkfit.link.paths import CapacityPaths

CONGESTION = ("cubic", "reno", "bbr")
INITIAL_WINDOW_PACKETS = 10  # RFC 6928 section 2
SYN_BYTES = 60.0  # IPv4 20, TCP 20, options 20 (segment size, timestamps, window scale, SACK)
_MOST_ROUNDS = 64  # the window doubles: 2^64 packets fill any link


def transfer_times_s(
    paths: "CapacityPaths",
    starts_s: "ArrayLike",
    size_bytes: "ArrayLike",
    rtt_s: "ArrayLike",
    *,
    draws: "ArrayLike | None" = None,
    congestion: str = "cubic",
    n_flows: int = 1,
    tls: bool = False,
    buffer_bytes: float = 3e5,
    loss_frac: float = 0.0,
    handshake_round_trips: int | None = None,
    header_bytes: float = TCP_IPV4_BYTES,
    mss_bytes: float = MSS_BYTES,
) -> "NDArray[np.float64]":
    """Time from the first packet of each transfer to the answer to its last byte. [s]

    Parameters
    ----------
    paths : CapacityPaths
        IP-layer capacity in the direction of the payload.
    starts_s, size_bytes, rtt_s : array, shape (n,)
        When each begins_s on its path (>= 0) [s], payload (>= 0) [bytes] and round trip without
        queues (>= 0) [s]; they broadcast against each other and `draws`.
    draws : array of int, shape (n,), optional
        The row of `paths` for each transfer; row 0 if not given.
    handshake_round_trips : int, optional
        Round trips before the payload: 1 for TCP and 1 more with `tls` if not given.

    Returns
    -------
    times_s : array, shape (n,)
        inf where the path carries nothing at all. [s]
    """
    one_of("congestion", congestion, CONGESTION)
    flows = count("n_flows", n_flows)
    positive("buffer_bytes", buffer_bytes)
    if fraction("loss_frac", loss_frac) > 0:
        raise InputError(f"loss_frac: expected 0 in this version, got {loss_frac:g}")
    payload = non_negative_array("size_bytes", size_bytes)
    starts = non_negative_array("starts_s", starts_s)
    rtts_s = non_negative_array("rtt_s", rtt_s)
    rows = np.asarray(0 if draws is None else draws)
    shape = np.broadcast_shapes(payload.shape, starts.shape, rtts_s.shape, rows.shape)
    payload, starts, rtts_s, rows = (
        np.broadcast_to(a, shape).reshape(-1) for a in (payload, starts, rtts_s, rows)
    )
    trips = 1 + int(tls) if handshake_round_trips is None else handshake_round_trips
    count("handshake_round_trips", trips, least=0)
    mss = positive("mss_bytes", mss_bytes)
    packet_bits = (mss + non_negative("header_bytes", header_bytes)) * BITS_PER_BYTE
    wire_bits = payload * (packet_bits / mss)
    begins_s = starts
    if trips:
        syn = paths.carried_bits(starts, rows) + SYN_BYTES * BITS_PER_BYTE
        begins_s = paths.time_at_bits_s(syn, rows) + trips * rtts_s
    done = _delivered_at_s(paths, begins_s, wire_bits, rtts_s, rows, packet_bits, flows)
    return (done + rtts_s - starts).reshape(shape)


def _delivered_at_s(
    paths: "CapacityPaths",
    begins_s: "NDArray[np.float64]",
    wire_bits: "NDArray[np.float64]",
    rtts_s: "NDArray[np.float64]",
    rows: "NDArray[np.int_]",
    packet_bits: float,
    n_flows: int,
) -> "NDArray[np.float64]":
    """When the link has put the last bit on the air: slow start first, then all it carries."""
    window_bits = INITIAL_WINDOW_PACKETS * packet_bits * n_flows
    ready = np.where(np.isfinite(begins_s), begins_s, 0.0)
    left = wire_bits.copy()
    position = paths.carried_bits(ready, rows)
    for _ in range(_MOST_ROUNDS):
        # a round is over when its first packet is answered; a window that lasts until then
        # has filled the link, and from here on the queue never empties
        first = paths.time_at_bits_s(position + packet_bits, rows)
        next_ready = first + rtts_s
        at_next = paths.carried_bits(np.where(np.isfinite(next_ready), next_ready, 0.0), rows)
        idle = (position + window_bits < at_next) & (left > window_bits)
        if not idle.any():
            break
        left = np.where(idle, left - window_bits, left)
        position = np.where(idle, at_next, position)
        window_bits *= 2
    done = paths.time_at_bits_s(position + left, rows)
    return np.where(np.isfinite(begins_s), done, np.inf)
