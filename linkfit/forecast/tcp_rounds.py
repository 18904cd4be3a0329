"""Transfers walked window by window over their paths: queue, drops, losses, timeouts.

A round begins when the first packet of the one before is answered. Its packets enter the queue
between then and the answer of the last; the queue drops what exceeds the buffer; the link sends
by its capacity. Everything is a formula on cumulative bits, so a round costs two look-ups in the
path however long it lasts, and all transfers take their round at once.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.tcp_bbr import RateControl
from linkfit.forecast.tcp_requests import Lanes, Requests
from linkfit.forecast.tcp_transports import TRANSPORTS, Transport
from linkfit.forecast.tcp_windows import Round, WindowControl

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths

# the second half of them tells the pace of what is left: slow start is no part of it
MOST_ROUNDS = 800
MOST_REQUEST_ROUNDS = 96
_MOST_BACKOFFS = 60
_MOST_HALVINGS = 40
_EARLY_PACKETS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What all transfers of one call share."""

    packet_bits: float
    buffer_bits: float
    congestion: str
    n_flows: int
    loss_frac: float
    loss_burst_packets: float
    first_packets: int
    most_packets: float
    hold_s: float
    transport: Transport = TRANSPORTS["tcp"]


@dataclass(slots=True, kw_only=True)
class _Flight:
    """State of the transfers under way, arrays (n,); `left` (n, f) in packets."""

    index: "NDArray[np.int_]"
    rows: "NDArray[np.int_]"
    rtt_s: "NDArray[np.float64]"
    start_s: "NDArray[np.float64]"
    last_answer_s: "NDArray[np.float64]"
    frontier: "NDArray[Any]"  # bits of the path by which all that was queued is sent
    gap_s: "NDArray[np.float64]"
    left: "NDArray[Any]"

    def take(self, keep: "NDArray[np.bool_]") -> None:
        for name in self.__slots__:
            setattr(self, name, getattr(self, name)[keep])


def delivered_in_rounds_s(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    begins_s: "NDArray[np.float64]",
    n_packets: "NDArray[Any]",
    rtts_s: "NDArray[np.float64]",
    conditions: Conditions,
    rng: "Generator",
    requests: Requests | None = None,
) -> "NDArray[np.float64]":
    """When the last packet of each transfer is answered, shape (n,). [s]

    With `requests` the payload is asked for bit by bit (`tcp_requests`).

    Notes
    -----
    After `MOST_ROUNDS` rounds a transfer goes on with the share of the capacity that it used in
    the second half of those, so that cost stays bounded; a window that a round trip limits is
    steady by then. Requests go on after `MOST_REQUEST_ROUNDS` with the idle time that each packet
    cost in the second half of those.
    """
    answered_s = np.full(n_packets.size, np.inf)
    alive = np.isfinite(begins_s) & (paths.cumulative_bits[rows, -1] > 0)
    answered_s[alive & (n_packets <= 0)] = begins_s[alive & (n_packets <= 0)]
    index = np.flatnonzero(alive & (n_packets > 0))
    flight = _take_off(paths, rows, begins_s, n_packets, rtts_s, conditions, index)
    control = _control(flight, conditions)
    lanes = None if requests is None else _lanes(requests, n_packets, index)
    pace: _Mark | None = None
    most_rounds = MOST_ROUNDS if lanes is None else MOST_REQUEST_ROUNDS
    for i in range(most_rounds):
        if flight.index.size == 0:
            return answered_s
        if i == most_rounds // 2:
            pace = _Mark.of(flight)
        over = _fly_one_round(paths, flight, control, conditions, rng, lanes)
        if over.any():
            answered_s[flight.index[over]] = flight.last_answer_s[over]
            for state in (flight, control, lanes, pace):
                if state is not None:
                    state.take(~over)
    assert pace is not None
    ends_s = _extrapolated_s if lanes is None else _requested_s
    answered_s[flight.index] = ends_s(paths, flight, pace, conditions)
    return answered_s


def _lanes(requests: Requests, n_packets: "NDArray[Any]", index: "NDArray[np.int_]") -> Lanes:
    return Lanes(
        requests=requests,
        item_packets=n_packets[index] / requests.n_requests,
        gap_s=requests.gap_s[index],
    )


@dataclass(slots=True, kw_only=True)
class _Mark:
    """Where transfers stood, to tell their pace since; arrays (n,)."""

    at_s: "NDArray[np.float64]"
    left: "NDArray[Any]"

    @classmethod
    def of(cls, flight: _Flight) -> "_Mark":
        return cls(at_s=flight.start_s.copy(), left=flight.left.sum(axis=1))

    def take(self, keep: "NDArray[np.bool_]") -> None:
        self.at_s, self.left = self.at_s[keep], self.left[keep]


def _control(flight: _Flight, conditions: Conditions) -> WindowControl | RateControl:
    if conditions.congestion == "bbr":
        return RateControl(
            n=flight.index.size,
            first_packets=conditions.first_packets * conditions.n_flows,
            most_packets=conditions.most_packets * conditions.n_flows,
            rtt_s=flight.rtt_s,
        )
    return WindowControl(
        shape=(flight.index.size, conditions.n_flows),
        is_cubic=conditions.congestion == "cubic",
        first_packets=conditions.first_packets,
        most_packets=conditions.most_packets,
    )


def _take_off(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    begins_s: "NDArray[np.float64]",
    n_packets: "NDArray[Any]",
    rtts_s: "NDArray[np.float64]",
    conditions: Conditions,
    index: "NDArray[np.int_]",
) -> _Flight:
    n_flows = 1 if conditions.congestion == "bbr" else conditions.n_flows
    left = np.repeat(n_packets[index, None] / n_flows, n_flows, axis=1)
    start_s = begins_s[index]
    return _Flight(
        index=index,
        rows=rows[index],
        rtt_s=rtts_s[index],
        start_s=start_s,
        last_answer_s=start_s.copy(),
        frontier=paths.carried_bits(start_s, rows[index]),
        gap_s=np.zeros(index.size),
        left=left,
    )


def _fly_one_round(
    paths: "CapacityPaths",
    flight: _Flight,
    control: WindowControl | RateControl,
    conditions: Conditions,
    rng: "Generator",
    lanes: Lanes | None,
) -> "NDArray[np.bool_]":
    """Advance every transfer by one round; True where its last packet was answered."""
    packet_bits = conditions.packet_bits
    may_send = flight.left if lanes is None else _asked(flight, control, conditions, lanes)
    at_start = paths.carried_bits(flight.start_s, flight.rows)
    begin = np.maximum(flight.frontier, at_start)
    served_s = paths.time_at_bits_s(begin + packet_bits, flight.rows)
    stalled = served_s - flight.start_s > conditions.hold_s
    if stalled.any():
        begin, served_s = _resume(paths, flight, control, conditions, stalled, begin, served_s)
        at_start = paths.carried_bits(flight.start_s, flight.rows)
    next_s = served_s + flight.rtt_s
    send, last_sent_s = control.plan(flight.start_s, next_s, flight.last_answer_s, may_send)
    total = send.sum(axis=1)
    at_last = paths.carried_bits(last_sent_s, flight.rows)
    frontier = np.maximum(begin + total * packet_bits, at_last + packet_bits)
    over_bits = frontier - at_last - conditions.buffer_bits
    dropped = np.clip(np.floor(over_bits / packet_bits), 0.0, np.maximum(total - 1.0, 0.0))
    # the queue grows evenly: for the last `over_bits` of its growth it drops
    growth = frontier - at_last - (begin - at_start)
    full_frac = np.clip(over_bits / np.maximum(growth, 1.0), 0.0, 1.0)
    unnoticed_s = full_frac * (last_sent_s - flight.start_s)
    frontier = frontier - dropped * packet_bits
    sent, hurt = _after_drops(send, dropped, rng)
    lost, before = _random_losses(sent, conditions, rng)
    hurt |= lost > 0
    delivered = np.where(lost > 0, np.maximum(sent - lost, 0.0), sent)
    # other lanes' packets soon follow and tell of the loss
    alone = lanes is None or lanes.release_s.shape[1] == 1
    ends_hurt = (hurt & (send >= (may_send if alone else flight.left))).any(axis=1)
    n_sent = np.maximum(sent.sum(axis=1), 1.0)
    early = np.minimum(float(_EARLY_PACKETS), n_sent)
    # both at once: a look-up costs little more for twice as many
    end_s, ninth_s = paths.time_at_bits_s(
        np.stack([frontier, begin + early * packet_bits]), flight.rows
    )
    early_wait_s = np.minimum(
        served_s - flight.start_s,
        np.maximum(ninth_s - flight.start_s - (early - 1.0) / 2.0 * flight.gap_s, 0.0),
    )
    span_s = np.maximum(end_s - served_s, 0.0)
    flight.gap_s = span_s / n_sent
    control.learn(
        Round(
            start_s=flight.start_s, next_s=next_s, rtt_s=flight.rtt_s,
            early_wait_s=early_wait_s, span_s=span_s, gap_s=flight.gap_s,
            sent=sent, before=before, hurt=hurt, limited=np.asarray((send >= may_send).all(axis=1)),
        )
    )  # fmt: skip
    flight.left = flight.left - delivered
    flight.frontier = frontier
    flight.last_answer_s = end_s + flight.rtt_s
    if lanes is not None:
        lanes.answered(delivered.sum(axis=1), next_s, flight.last_answer_s)
    # a loss at the very end is noticed by the answers of the packets behind it, or later
    flight.start_s = np.where(
        ends_hurt, np.maximum(next_s, flight.last_answer_s - unnoticed_s), next_s
    )
    return np.asarray((flight.left <= 1e-9).all(axis=1))


def _asked(
    flight: _Flight,
    control: WindowControl | RateControl,
    conditions: Conditions,
    lanes: Lanes,
) -> "NDArray[Any]":
    """Packets (n, f) that the far end has asked for; waits for it where there are none."""
    answered_s = flight.last_answer_s
    asked, flight.start_s, flight.last_answer_s = lanes.asked_packets(
        flight.start_s, answered_s, flight.rtt_s
    )
    idle_s = flight.start_s - answered_s + flight.rtt_s  # since the last packet left
    timeout_s = flight.rtt_s + conditions.transport.least_timeout_s
    control.rest(idle_s, timeout_s, conditions.first_packets)
    left = flight.left.sum(axis=1)
    share = np.minimum(asked / np.maximum(left, 1e-12), 1.0)
    return flight.left * share[:, None]


def _after_drops(
    send: "NDArray[Any]", dropped: "NDArray[Any]", rng: "Generator"
) -> "tuple[NDArray[Any], NDArray[np.bool_]]":
    """What the queue took of each flow, and which flows lost a packet to it, both (n, f)."""
    if not dropped.any():
        return send, np.zeros(send.shape, dtype=np.bool_)
    share = send / np.maximum(send.sum(axis=1), 1e-12)[:, None]
    drops = np.minimum(dropped[:, None] * share, send)
    if send.shape[1] == 1:
        return send - drops, drops > 0
    hurt = rng.random(send.shape) < -np.expm1(-drops)
    unlucky = np.argmax(rng.random(send.shape) * share, axis=1)
    hurt[np.arange(len(send)), unlucky] = True
    return send - drops, hurt & (dropped > 0)[:, None]


def _random_losses(
    sent: "NDArray[Any]", conditions: Conditions, rng: "Generator"
) -> "tuple[NDArray[Any], NDArray[Any]]":
    """Packets lost after the link and packets before the first of them, both (n, f).

    Losses come in bursts of geometric length; the gaps between bursts are geometric too.
    """
    if conditions.loss_frac <= 0:
        return np.zeros_like(sent), sent
    burst = conditions.loss_burst_packets
    start_prob = min(conditions.loss_frac / burst, 1.0 - 1e-12)
    first = rng.geometric(start_prob, size=sent.shape).astype(np.float64)
    hit = first <= np.ceil(sent)
    behind = np.where(hit, np.maximum(np.floor(sent - first), 0.0), 0.0).astype(np.int64)
    n_bursts = hit + rng.binomial(behind, start_prob)
    lost = n_bursts.astype(np.float64)
    if burst > 1.0:
        more = rng.negative_binomial(np.maximum(n_bursts, 1), 1.0 / burst)
        lost += np.where(hit, more, 0)
    lost = np.minimum(lost, np.where(hit, np.ceil(sent), 0.0))
    return np.minimum(lost, sent), np.where(hit, np.minimum(first - 1.0, sent), sent)


def _resume(
    paths: "CapacityPaths",
    flight: _Flight,
    control: WindowControl | RateControl,
    conditions: Conditions,
    stalled: "NDArray[np.bool_]",
    begin: "NDArray[Any]",
    served_s: "NDArray[np.float64]",
) -> "tuple[NDArray[Any], NDArray[np.float64]]":
    """The link threw the flight away: repeat one packet at each timeout until one gets through.

    Each timeout doubles the next (RFC 6298 section 5.5, RFC 9002 section 6.2.1).
    """
    transport = conditions.transport
    timeout_s = flight.rtt_s + transport.least_timeout_s
    retry_s = flight.start_s + timeout_s
    waiting = stalled.copy()
    for _ in range(_MOST_BACKOFFS):
        at = paths.carried_bits(np.where(waiting, retry_s, flight.start_s), flight.rows)
        through_s = paths.time_at_bits_s(at + conditions.packet_bits, flight.rows)
        arrives = waiting & (through_s - retry_s <= conditions.hold_s)
        begin = np.where(arrives, at, begin)
        served_s = np.where(arrives, through_s, served_s)
        waiting &= ~arrives
        if not waiting.any():
            break
        timeout_s = np.minimum(2.0 * timeout_s, transport.most_timeout_s)
        retry_s = np.where(waiting, retry_s + timeout_s, retry_s)
    collapsed = stalled & transport.is_persistent(retry_s - flight.start_s, flight.rtt_s)
    flight.start_s = np.where(stalled, retry_s, flight.start_s)
    flight.last_answer_s = np.where(stalled, flight.start_s, flight.last_answer_s)
    control.restart(stalled, collapsed, transport.least_window_packets)
    return begin, served_s


def _extrapolated_s(
    paths: "CapacityPaths",
    flight: _Flight,
    mark: _Mark,
    conditions: Conditions,
) -> "NDArray[np.float64]":
    """When transfers that took too many rounds end, at the efficiency they had of late. [s]"""
    from_bits = paths.carried_bits(mark.at_s, flight.rows)
    now_bits = paths.carried_bits(flight.start_s, flight.rows)
    left = flight.left.sum(axis=1)
    moved = np.maximum(mark.left - left, 1.0)
    cost = np.maximum((now_bits - from_bits) / moved, conditions.packet_bits)
    queued_bits = np.maximum(now_bits, flight.frontier)  # what waits goes first
    return paths.time_at_bits_s(queued_bits + left * cost, flight.rows) + flight.rtt_s


def _requested_s(
    paths: "CapacityPaths", flight: _Flight, mark: _Mark, conditions: Conditions
) -> "NDArray[np.float64]":
    """When transfers with too many requests end, idle as much a packet as they were of late. [s]

    The link is used evenly between the waits: in a share of the time it carries that share of
    its capacity.
    """
    rows, now_s, left = flight.rows, flight.start_s, flight.left.sum(axis=1)
    moved = np.maximum(mark.left - left, 1e-9)
    now_bits = paths.carried_bits(now_s, rows)
    could_bits = np.maximum(now_bits - paths.carried_bits(mark.at_s, rows), 1.0)
    used_frac = np.minimum(moved * conditions.packet_bits / could_bits, 1.0)
    idle_s = (now_s - mark.at_s) * (1.0 - used_frac) / moved * left
    left_bits = left * conditions.packet_bits + np.maximum(flight.frontier - now_bits, 0.0)

    def is_short(after_s: "NDArray[np.float64]") -> "NDArray[np.bool_]":
        carried = paths.carried_bits(now_s + after_s, rows) - now_bits
        used = np.maximum(1.0 - idle_s / np.maximum(after_s, 1e-9), 0.0)
        return np.asarray(carried * used < left_bits)

    busy_s = paths.time_at_bits_s(now_bits + left_bits, rows) - now_s
    low_s, high_s = np.maximum(busy_s, idle_s), busy_s + idle_s
    for _ in range(_MOST_HALVINGS):
        short = is_short(high_s)
        if not short.any():
            break
        high_s = np.where(short, 2.0 * high_s, high_s)
    for _ in range(_MOST_HALVINGS):
        middle_s = (low_s + high_s) / 2.0
        short = is_short(middle_s)
        low_s, high_s = np.where(short, middle_s, low_s), np.where(short, high_s, middle_s)
    return now_s + high_s + flight.rtt_s
