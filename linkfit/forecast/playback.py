"""Streams over CapacityPaths: how long to wait before playing, and how late a live one runs."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from linkfit.link.paths import CapacityPaths

SEGMENT_S = 6.0  # length of a segment of a segmented stream; common practice
_MOST_POINTS = 60  # places in a stream at which the buffer is looked at
_LIVE_WINDOW_S = 300.0  # a queue that is older than this has been given up by a caller


def _rates_bps(rate_bps: "ArrayLike") -> "NDArray[np.float64]":
    """As a column, one for each stream or one for all. [bit/s]"""
    positive("rate_bps", float(np.min(rate_bps)))
    return np.asarray(rate_bps, dtype=np.float64).reshape(-1, 1)


def start_delay_s(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    draws: "NDArray[np.int64]",
    *,
    rate_bps: "ArrayLike",
    duration_s: float,
) -> "NDArray[np.float64]":
    """Shortest wait after which a stream plays to its end without a stall, shape (n,). [s]

    Parameters
    ----------
    paths : CapacityPaths
        What the stream can use at the IP layer.
    starts_s, draws : array, shape (n,)
        When it is asked for [s], and on which row.
    rate_bps : float or array, shape (n,)
        Constant rate of each at the IP layer. [bit/s]
    duration_s : float
        Length of the stream. [s]

    Notes
    -----
    At play time t the segment that begins there must be whole, so the wait is the largest
    ``arrival of the bits up to t + segment, less t``: an unlimited buffer that is filled ahead.
    A long stream is looked at in 60 places.
    """
    rates_bps = _rates_bps(rate_bps)
    duration_s = positive("duration_s", duration_s)
    step_s = max(SEGMENT_S, duration_s / _MOST_POINTS)
    due_s = np.arange(0.0, duration_s - 1e-9, step_s)
    ends_s = np.minimum(due_s + SEGMENT_S, duration_s)
    begun = paths.carried_bits(starts_s, draws)
    arrives_s = paths.time_at_bits_s(
        begun[:, None] + rates_bps * ends_s[None, :], np.asarray(draws)[:, None]
    )
    return np.max(arrives_s - starts_s[:, None] - due_s[None, :], axis=1)


def live_delay_s(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    draws: "NDArray[np.int64]",
    *,
    rate_bps: "ArrayLike",
    duration_s: float,
    moment_frac: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """How late the bits of a live stream arrive at a random moment of it, shape (n,). [s]

    Parameters
    ----------
    moment_frac : array, shape (n,)
        Which moment of the stream, in [0, 1].

    Notes
    -----
    A fluid queue that starts empty (Lindley's recursion, closed form: the running sum of
    offered less carried bits, less its running minimum); the delay is the time the link needs
    for what waits. Queues older than 300 s are cut: nobody stays in such a call.
    """
    rates_bps = _rates_bps(rate_bps)
    span_s = min(positive("duration_s", duration_s), _LIVE_WINDOW_S)
    times_s = np.linspace(0.0, span_s, max(2, round(span_s / paths.step_s) + 1))
    at_s = starts_s[:, None] + times_s[None, :]
    rows = np.asarray(draws)[:, None]
    carried = paths.carried_bits(at_s, rows)
    net = rates_bps * times_s[None, :] - (carried - carried[:, :1])
    waiting = net - np.minimum.accumulate(np.minimum(net, 0.0), axis=1)
    index = np.minimum((moment_frac * times_s.size).astype(np.int64), times_s.size - 1)
    pick = np.arange(index.size)
    moment_s = at_s[pick, index]
    goal = carried[pick, index] + waiting[pick, index]
    delay = paths.time_at_bits_s(goal, draws) - moment_s
    # the inverse may return the start of a flat stretch that lies before the moment
    return np.maximum(delay, 0.0)
