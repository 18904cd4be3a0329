"""The queue before the link while something sends: how long a packet waits behind it.

A fluid queue with a buffer that drops what does not fit, over CapacityPaths: in each step the
sender offers its rate, the link takes what it can, and what waits stays within the buffer. A
sender without a limit is one that offers infinitely much: it keeps the buffer full. Real TCP
(kernel CUBIC over an emulated link, tests/emulation) leaves it at 0.8 of that in the median, and
under a limit keeps its queue short a tenth more often: the model is on the cautious side.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative_array
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from linkfit.link.paths import CapacityPaths

_WARM_UP_S = 300.0  # of each path are not looked at: the queue starts empty
_LEAST_WARM_UP_STEPS = 10


def warm_up_steps(paths: "CapacityPaths") -> int:
    """Steps at the start of each path in which the queue still fills."""
    return min(max(round(_WARM_UP_S / paths.step_s), _LEAST_WARM_UP_STEPS), paths.n_steps // 4)


def _queues_bits(
    paths: "CapacityPaths", offered_bps: "ArrayLike", buffer_bits: "ArrayLike"
) -> "Iterator[NDArray[np.float64]]":
    """What waits at the start of each step, shape (k, d); the array is reused."""
    offered = np.asarray(offered_bps, dtype=np.float64)
    if np.isnan(offered).any() or (offered < 0).any():
        raise InputError(f"offered_bps: expected numbers >= 0, got {offered.min():g}")
    buffer = np.broadcast_to(non_negative_array("buffer_bits", buffer_bits), paths.n_draws)
    arrives = offered.reshape(-1, 1) * paths.step_s
    takes = np.diff(paths.cumulative_bits, axis=1).T.copy()
    waiting = np.zeros((offered.size, paths.n_draws))
    for step in range(paths.n_steps):
        yield waiting
        waiting += arrives
        waiting -= takes[step]
        np.maximum(waiting, 0.0, out=waiting)
        np.minimum(waiting, buffer, out=waiting)


def queue_bits(
    paths: "CapacityPaths", offered_bps: float, buffer_bits: "ArrayLike"
) -> "NDArray[np.float64]":
    """Bits that wait at the start of each step of a queue that starts empty, shape (d, t).

    Parameters
    ----------
    paths : CapacityPaths
        What the link carries.
    offered_bps : float
        What is sent, at the IP layer; inf: a sender that always has more. [bit/s]
    buffer_bits : float or array, shape (d,)
        Room for what waits; what does not fit is dropped. [bits]

    Raises
    ------
    InputError
        If a rate or a buffer is negative or not a number.

    Notes
    -----
    ``q[i+1] = min(max(q[i] + offered - carried[i], 0), buffer)``: Lindley's recursion with a
    second wall. The order inside a step is not modelled: steps should be short against the
    changes of the link.

    Source
    ------
    D. V. Lindley, "The theory of queues with a single server", Math. Proc. Camb. Phil.
    Soc. 48(2), 277-289, 1952, doi:10.1017/S0305004100027638 (the infinite buffer).
    """
    out = np.empty((paths.n_draws, paths.n_steps))
    for step, waiting in enumerate(_queues_bits(paths, offered_bps, buffer_bits)):
        out[:, step] = waiting[0]
    return out


def wait_s(
    paths: "CapacityPaths",
    times_s: "ArrayLike",
    draws: "ArrayLike",
    waiting_bits: "ArrayLike",
    own_bits: float,
) -> "NDArray[np.float64]":
    """Time until a packet of `own_bits` behind `waiting_bits` has left. [s]

    Parameters
    ----------
    times_s, draws, waiting_bits : array
        When it joins the queue [s], on which row, and what waits before it [bits]; broadcast.
    own_bits : float
        The packet itself. [bits]
    """
    begun = paths.carried_bits(times_s, draws)
    gone = paths.time_at_bits_s(begun + np.asarray(waiting_bits) + own_bits, draws)
    return np.maximum(gone - np.asarray(times_s), 0.0)


def largest_queue_bits(
    paths: "CapacityPaths", within_s: "ArrayLike", own_bits: float
) -> "NDArray[np.float64]":
    """Largest queue at the start of each step behind which a packet still leaves in time.

    Parameters
    ----------
    within_s : float or array, shape (d, t)
        Time that it may take; at or below 0: too late already. [s]
    own_bits : float
        The packet itself. [bits]

    Returns
    -------
    largest_queue_bits : array, shape (d, t)
        Negative where it is late even before an empty queue. [bits]
    """
    times_s, rows = _grid(paths)
    within = np.broadcast_to(np.asarray(within_s, dtype=np.float64), times_s.shape)
    in_time = within > 0
    ends_s = times_s + np.where(in_time, within, 0.0)
    ahead = paths.carried_bits(ends_s, rows) - paths.carried_bits(times_s, rows) - own_bits
    return np.where(in_time, ahead, -1.0)


def largest_added_queue_bits(
    paths: "CapacityPaths", bound_s: float, own_bits: float
) -> "NDArray[np.float64]":
    """Largest queue that delays a packet by at most `bound_s` more than no queue, shape (d, t).

    What an outage costs anyway is no added delay. [bits]
    """
    times_s, rows = _grid(paths)
    begun = paths.carried_bits(times_s, rows)
    alone_s = paths.time_at_bits_s(begun + own_bits, rows)
    # a row that never carries anything delays everything alike: the queue adds nothing to it
    later_s = np.where(np.isfinite(alone_s), alone_s, times_s) + bound_s
    ahead = np.maximum(paths.carried_bits(later_s, rows) - begun - own_bits, 0.0)
    return np.where(np.isfinite(alone_s), ahead, np.inf)


def _grid(paths: "CapacityPaths") -> "tuple[NDArray[np.float64], NDArray[np.int64]]":
    """Start of each step and row number, both of shape (d, t)."""
    times_s = np.arange(paths.n_steps) * paths.step_s
    shape = (paths.n_draws, paths.n_steps)
    rows = np.broadcast_to(np.arange(paths.n_draws)[:, None], shape)
    return np.broadcast_to(times_s, shape), rows


def shares_in_time(
    paths: "CapacityPaths",
    room_bits: "NDArray[np.float64]",
    offered_bps: "ArrayLike",
    buffer_bits: "ArrayLike",
) -> "NDArray[np.float64]":
    """Share of the moments of each row at which the queue fits the room, shape (k, d).

    Parameters
    ----------
    room_bits : array, shape (d, t)
        From `largest_queue_bits` or `largest_added_queue_bits`.
    offered_bps : array, shape (k,)
        Rates to try, all at once. [bit/s]
    buffer_bits : float or array, shape (d,)
        As in `queue_bits`.

    Notes
    -----
    O(k d t) in t array operations; 30 rates on 200 rows of an hour take a fifth of a second.
    The first five minutes of a path fill the queue and are left out.
    """
    if room_bits.shape != (paths.n_draws, paths.n_steps):
        raise InputError(
            f"room_bits: expected shape {(paths.n_draws, paths.n_steps)}, got {room_bits.shape}"
        )
    n_warm = warm_up_steps(paths)
    by_step = room_bits.T.copy()
    n_hits = np.zeros((np.size(offered_bps), paths.n_draws))
    for step, waiting in enumerate(_queues_bits(paths, offered_bps, buffer_bits)):
        if step >= n_warm:
            n_hits += waiting <= by_step[step]
    return n_hits / (paths.n_steps - n_warm)
