"""Transfer times of TCP over CapacityPaths: a fluid model, all transfers at once."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit._checks import count, fraction, non_negative, non_negative_array, one_of, positive
from linkfit.errors import InputError
from linkfit.forecast.tcp_requests import Requests
from linkfit.forecast.tcp_rounds import Conditions, delivered_in_rounds_s
from linkfit.forecast.tcp_start import connected, delivered_when_filled_s
from linkfit.forecast.tcp_transports import largest_payload_bytes, transport_named
from linkfit.forecast.tcp_windows import CUBIC_BETA, RENO_BETA
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import ArrayLike, NDArray

    from linkfit.forecast.path_clock import PathClock
    from linkfit.link.paths import CapacityPaths

CONGESTION = ("cubic", "reno", "bbr")
_CHUNK = 16384  # transfers at once: their arrays stay in cache


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
    loss_burst_packets: float = 1.0,
    hold_s: float | None = None,
    window_bytes: float | None = None,
    handshake_round_trips: int | None = None,
    transport: str = "tcp",
    header_bytes: float | None = None,
    mss_bytes: float | None = None,
    n_requests: int = 1,
    n_parallel: int = 1,
    gap_s: "ArrayLike" = 0.0,
    seed: int = 0,
) -> "NDArray[np.float64]":
    """Time from the first packet of each transfer to the answer to its last byte. [s]

    Parameters
    ----------
    paths : CapacityPaths
        IP-layer capacity in the direction of the payload.
    starts_s, size_bytes, rtt_s : array, shape (n,)
        When each begins on its path (>= 0) [s], payload (>= 0) [bytes] and round trip without
        queues (>= 0) [s]; they broadcast against each other and `draws`.
    draws : array of int, shape (n,), optional
        The row of `paths` for each transfer; row 0 if not given.
    congestion : {"cubic", "reno", "bbr"}
        How the sender chooses its rate: RFC 9438, RFC 5681, or by estimating the bottleneck.
    n_flows : int
        Connections opened at once that split the payload evenly; the last one counts.
    tls : bool
        TLS 1.3: one more round trip, and its first message crosses the link.
    buffer_bytes : float
        Queue in front of the link; it drops what exceeds it. [bytes]
    loss_frac : float
        Chance that a packet is lost besides the queue's drops. Losses are drawn, so that one
        transfer is one possible outcome: ask for many and look at their quantiles. [fraction]
    loss_burst_packets : float
        Mean number of packets lost together, >= 1; 1: independent losses.
    hold_s : float, optional
        Packets that wait longer in the queue are thrown away; None: the link holds them through
        any outage. [s]
    window_bytes : float, optional
        The receiver's window of each flow; None: it never limits. [bytes]
    handshake_round_trips : int, optional
        Round trips before the payload. Not given: 1 for TCP and 1 more with `tls`; 2 more for
        TLS 1.2; 1 in all with QUIC; 0 for a connection that stands already.
    transport : {"tcp", "quic"}
        QUIC encrypts by itself: one round trip in all, no records, a first datagram of 1200 bytes,
        and after a silence it cuts its window to the least only if that is persistent.
    header_bytes, mss_bytes : float, optional
        Headers and payload of a full packet; the transport's own in 1500 bytes. [bytes]
    n_requests, n_parallel : int
        Equal parts in which the payload is asked for, and how many are under way at once: the
        next is asked for when one has been answered. 1: the sender has it all from the start.
    gap_s : array, shape (n,)
        From an answer's arrival to the next request, besides the round trip; it broadcasts. In
        one longer than the retransmission timeout the window shrinks. [s]
    seed : int
        Of the random losses.

    Returns
    -------
    times_s : array, shape (n,)
        inf where the path carries nothing at all. [s]

    Raises
    ------
    InputError
        If an argument is out of its range.

    Notes
    -----
    Without loss, and with a buffer that outlasts the sender's cut when the path is at its
    fastest, a closed form holds: rounds of a doubling window until the link is full, then the
    capacity itself (`tcp_start`). Everything else walks window by window (`tcp_rounds`).
    """
    one_of("congestion", congestion, CONGESTION)
    way = transport_named(transport)
    head = way.header_bytes if header_bytes is None else non_negative("header_bytes", header_bytes)
    mss = largest_payload_bytes(way) if mss_bytes is None else positive("mss_bytes", mss_bytes)
    if loss_burst_packets < 1:
        raise InputError(f"loss_burst_packets: expected >= 1, got {loss_burst_packets:g}")
    conditions = Conditions(
        packet_bits=(mss + head) * BITS_PER_BYTE,
        buffer_bits=positive("buffer_bytes", buffer_bytes) * BITS_PER_BYTE,
        congestion=congestion,
        n_flows=count("n_flows", n_flows),
        loss_frac=fraction("loss_frac", loss_frac),
        loss_burst_packets=positive("loss_burst_packets", loss_burst_packets),
        first_packets=way.first_window_packets(mss),
        most_packets=_most_packets(window_bytes, mss),
        hold_s=math.inf if hold_s is None else positive("hold_s", hold_s),
        transport=way,
    )
    own = 1 + int(tls and not way.encrypts)
    trips = own if handshake_round_trips is None else handshake_round_trips
    count("handshake_round_trips", trips, least=0)
    asked, shape = _broadcast(paths, starts_s, size_bytes, rtt_s, draws)
    rng = np.random.default_rng(seed)
    if count("n_requests", n_requests) > count("n_parallel", n_parallel):
        gap = np.broadcast_to(non_negative_array("gap_s", gap_s), shape).reshape(-1)
        requests = Requests.bundled(n_requests, n_parallel, gap)
        return _walked_s(paths, asked, mss, trips, conditions, rng, requests).reshape(shape)
    filled = _stays_full(paths, asked, conditions)
    times_s = np.empty(asked.rows.size)
    if not filled.all():
        some = asked.take(~filled)
        times_s[~filled] = _walked_s(paths, some, mss, trips, conditions, rng)
    which = np.flatnonzero(filled)
    for low in range(0, which.size, _CHUNK):
        part: NDArray[np.int_] | slice = which[low : low + _CHUNK]
        if which.size == asked.rows.size:  # a slice copies nothing
            part = slice(low, low + _CHUNK)
        times_s[part] = _filled_s(paths, asked.take(part), mss, trips, conditions, rng)
    return times_s.reshape(shape)


def _walked_s(
    paths: "CapacityPaths",
    asked: "_Asked",
    mss_bytes: float,
    n_round_trips: int,
    conditions: Conditions,
    rng: "Generator",
    requests: Requests | None = None,
) -> "NDArray[np.float64]":
    """Times of transfers that are walked window by window. [s]"""
    clock = _connected(paths, asked, n_round_trips, conditions, rng)
    packets = asked.payload_bytes / mss_bytes
    answered_s = delivered_in_rounds_s(
        paths, asked.rows, clock.time_s, packets, asked.rtts_s, conditions, rng, requests
    )
    return answered_s - asked.starts_s


def _filled_s(
    paths: "CapacityPaths",
    asked: "_Asked",
    mss_bytes: float,
    n_round_trips: int,
    conditions: Conditions,
    rng: "Generator",
) -> "NDArray[np.float64]":
    """Times of transfers whose link stays full once it was filled. [s]"""
    clock = _connected(paths, asked, n_round_trips, conditions, rng)
    sent_s = delivered_when_filled_s(
        clock,
        asked.payload_bytes * (conditions.packet_bits / mss_bytes),
        asked.rtts_s,
        packet_bits=conditions.packet_bits,
        n_first=conditions.first_packets * conditions.n_flows,
    )
    return sent_s + asked.rtts_s - asked.starts_s


def _connected(
    paths: "CapacityPaths",
    asked: "_Asked",
    n_round_trips: int,
    conditions: Conditions,
    rng: "Generator",
) -> "PathClock":
    return connected(
        paths,
        asked.rows,
        asked.starts_s,
        asked.rtts_s,
        n_round_trips=n_round_trips,
        transport=conditions.transport,
        loss_frac=conditions.loss_frac,
        hold_s=conditions.hold_s,
        rng=rng,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """The transfers of one call, arrays (n,)."""

    rows: "NDArray[np.int_]"
    starts_s: "NDArray[np.float64]"
    payload_bytes: "NDArray[np.float64]"
    rtts_s: "NDArray[np.float64]"

    def take(self, keep: "NDArray[Any] | slice") -> "_Asked":
        return _Asked(
            rows=self.rows[keep],
            starts_s=self.starts_s[keep],
            payload_bytes=self.payload_bytes[keep],
            rtts_s=self.rtts_s[keep],
        )


def _broadcast(
    paths: "CapacityPaths",
    starts_s: "ArrayLike",
    size_bytes: "ArrayLike",
    rtt_s: "ArrayLike",
    draws: "ArrayLike | None",
) -> "tuple[_Asked, tuple[int, ...]]":
    rows = np.asarray(0 if draws is None else draws)
    if not np.issubdtype(rows.dtype, np.integer) or (
        rows.size and not 0 <= int(rows.min()) <= int(rows.max()) < paths.n_draws
    ):
        raise InputError(
            f"draws: expected rows 0 to {paths.n_draws - 1} of paths, got "
            f"{np.array2string(rows, threshold=3, edgeitems=1)}"
        )
    arrays: list[NDArray[Any]] = [
        non_negative_array("starts_s", starts_s),
        non_negative_array("size_bytes", size_bytes),
        non_negative_array("rtt_s", rtt_s),
        rows,
    ]
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    starts, payload, rtts, rows = (np.broadcast_to(a, shape).reshape(-1) for a in arrays)
    return _Asked(rows=rows, starts_s=starts, payload_bytes=payload, rtts_s=rtts), shape


def _most_packets(window_bytes: float | None, mss_bytes: float) -> float:
    """The receiver's window in whole packets, at least one."""
    if window_bytes is None:
        return math.inf
    return max(math.floor(positive("window_bytes", window_bytes) / mss_bytes), 1)


def _stays_full(
    paths: "CapacityPaths", asked: _Asked, conditions: Conditions
) -> "NDArray[np.bool_]":
    """Where a queue once filled never empties again, whatever the path does, shape (n,).

    After a cut the window is beta times what buffer and link held; it must still cover what
    the link carries in a round trip at its fastest.
    """
    simple = conditions.congestion != "bbr" and conditions.loss_frac == 0
    if not simple or np.isfinite(conditions.hold_s):
        return np.zeros(asked.rows.size, dtype=np.bool_)
    beta = CUBIC_BETA if conditions.congestion == "cubic" else RENO_BETA
    least_s = float(asked.rtts_s.min(initial=math.inf))
    n_steps = 1 if math.isinf(least_s) else max(int(least_s / paths.step_s), 1)
    n_steps = min(n_steps, paths.n_steps)
    window_s = n_steps * paths.step_s
    # no window carries more than the whole row: most buffers of the kind are far above even that
    whole_bits = paths.cumulative_bits[asked.rows, -1] / window_s * asked.rtts_s
    endless = math.isinf(conditions.most_packets)
    if endless and (beta * conditions.buffer_bits >= whole_bits).all():
        return np.ones(asked.rows.size, dtype=np.bool_)
    carried = paths.cumulative_bits[:, n_steps:] - paths.cumulative_bits[:, :-n_steps]
    peak_bps = carried.max(axis=1) / window_s
    in_flight = peak_bps[asked.rows] * asked.rtts_s
    covered = beta * conditions.buffer_bits >= in_flight
    if not endless:
        window_bits = conditions.most_packets * conditions.packet_bits * conditions.n_flows
        covered &= window_bits >= in_flight + conditions.buffer_bits
    return covered
