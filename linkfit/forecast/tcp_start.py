"""How a connection begins: its handshake, and slow start on a link that it soon fills."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.path_clock import PathClock
from linkfit.forecast.tcp_transports import Transport
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths

_MOST_DOUBLINGS = 64  # 2^64 packets fill any link
_MOST_TRIES = 30


def connected(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    starts_s: "NDArray[np.float64]",
    rtts_s: "NDArray[np.float64]",
    *,
    n_round_trips: int,
    transport: Transport,
    loss_frac: float,
    hold_s: float,
    rng: "Generator",
) -> PathClock:
    """The clock of each transfer when its payload may leave: its handshake crosses the link first.

    Notes
    -----
    A lost first packet is repeated after 1 s, 3 s, 7 s, ...: the timer doubles (RFC 6298 section
    5.5, RFC 9002 section 6.2.1). It is lost at random, or because the link holds it longer than
    `hold_s`.
    """
    clock = PathClock(paths, rows, starts_s)
    for trip in range(n_round_trips):
        bits = transport.message_bytes(trip) * BITS_PER_BYTE
        if loss_frac == 0 and np.isinf(hold_s):
            clock.send(bits)
        else:
            first_s = transport.first_timeout_s
            through_s = _retried_s(paths, rows, clock.time_s, bits, first_s, loss_frac, hold_s, rng)
            clock = PathClock(paths, rows, through_s)
        clock.wait(rtts_s)
    return clock


def _crossed_s(
    paths: "CapacityPaths", rows: "NDArray[np.int_]", at_s: "NDArray[np.float64]", bits: float
) -> "NDArray[np.float64]":
    finite = np.isfinite(at_s)
    carried = paths.carried_bits(np.where(finite, at_s, 0.0), rows)
    return np.where(finite, paths.time_at_bits_s(carried + bits, rows), np.inf)


def _retried_s(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    ready_s: "NDArray[np.float64]",
    bits: float,
    timeout_s: float,
    loss_frac: float,
    hold_s: float,
    rng: "Generator",
) -> "NDArray[np.float64]":
    """When the first copy of a message that neither chance nor the link loses has crossed. [s]"""
    through_s = np.full(ready_s.shape, np.inf)
    at_s = ready_s
    for _ in range(_MOST_TRIES):
        crossed_s = _crossed_s(paths, rows, at_s, bits)
        with np.errstate(invalid="ignore"):  # inf - inf where the path is dead
            held = crossed_s - at_s <= hold_s
        kept = np.isinf(through_s) & held & (rng.random(ready_s.shape) >= loss_frac)
        through_s = np.where(kept, crossed_s, through_s)
        if np.isfinite(through_s).all():
            break
        at_s = at_s + timeout_s
        timeout_s *= 2.0
    return through_s


def delivered_when_filled_s(
    clock: PathClock,
    wire_bits: "NDArray[np.float64]",
    rtts_s: "NDArray[np.float64]",
    *,
    packet_bits: float,
    n_first: int,
) -> "NDArray[np.float64]":
    """When the link has sent the last bit, shape (n,): slow start, then all that it carries. [s]

    Notes
    -----
    The window, `n_first` packets at first, doubles each round. A round is over when its first
    packet is answered; a window that lasts until then has filled the link, and if the buffer is
    deep enough for what follows, the queue never empties again. The clock is used up.
    """
    paths, rows = clock.paths, clock.rows
    window_bits = n_first * packet_bits
    target = clock.bits + wire_bits
    alive = np.isfinite(clock.time_s) & (paths.cumulative_bits[:, -1] > 0)[rows]
    opens = alive & (wire_bits > window_bits)
    index, left = np.flatnonzero(opens), wire_bits
    if index.size < rows.size:
        clock.take(index)
        left, rtts_s = left[index], rtts_s[index]
    for _ in range(_MOST_DOUBLINGS):
        if index.size == 0:
            break
        sent_to = clock.bits + window_bits
        clock.send(packet_bits)
        clock.wait(rtts_s)
        left = left - window_bits
        window_bits *= 2
        idle = (sent_to < clock.bits) & (left > window_bits)
        if idle.all():
            continue
        leaves, keep = np.flatnonzero(~idle), np.flatnonzero(idle)
        reached = np.maximum(clock.bits[leaves], sent_to[leaves])
        target[index[leaves]] = reached + left[leaves]
        clock.take(keep)
        index, left, rtts_s = index[keep], left[keep], rtts_s[keep]
    sent_s = paths.time_at_bits_s(target, rows)
    return sent_s if alive.all() else np.where(alive, sent_s, np.inf)
