"""The record on its own clock: short gaps between runs filled with what lies beside them.

Runs that follow each other within minutes are replayed one after another. Laid end to end they
would pass in less time than they were measured in, and averages over minutes would vary too
little: runs of 15 s once a minute hold four minutes in one.
"""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.series import GRID_S, MeasuredRuns

if TYPE_CHECKING:
    from numpy.typing import NDArray

SESSION_GAP_S = 300.0  # runs closer than this follow each other in a replay
_BESIDE_S = 60  # of the session, that a gap repeats at least


def sessions(runs: MeasuredRuns) -> "NDArray[np.int64]":
    """Where a group of runs starts that follow each other within five minutes, shape (s + 1,).

    Between runs that close the level hardly moves, so a replay goes on into the next one; a
    run without a clock stands alone.
    """
    with np.errstate(invalid="ignore"):
        near = np.abs(_gaps_s(runs)) <= SESSION_GAP_S  # NaN: False
    return np.concatenate((runs.first[:1], runs.first[1:-1][~near], runs.first[-1:]))


def filled(
    rates_bps: "NDArray[np.float64]", runs: MeasuredRuns, outage_bps: float
) -> "tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]":
    """Rates on the clock, where each session starts, and where each measured second went.

    Parameters
    ----------
    rates_bps : array, shape (n,)
        Of the seconds of `runs`. [bit/s]
    outage_bps : float
        A second of at most this is an outage. [bit/s]

    Returns
    -------
    rates_bps : array, shape (m,)
        With the gaps inside sessions filled. [bit/s]
    first : array of int, shape (s + 1,)
        Index of each session's first second; the last entry is m.
    position : array of int, shape (n,)
        Index in the result of each measured second.

    Notes
    -----
    The first half of a gap repeats the run before it (a minute or more of the session), read
    backwards and forwards in turn, the second half what came after it, so that no jump is made
    where none was measured; an outage beside a gap is not repeated. O(m).
    """
    with np.errstate(invalid="ignore"):
        gaps_s = _gaps_s(runs)
        fills = np.where(np.abs(gaps_s) <= SESSION_GAP_S, np.maximum(gaps_s, 0.0), 0.0)
    gap = np.round(fills).astype(np.int64)
    if not gap.any():
        return rates_bps, sessions(runs), np.arange(rates_bps.size)
    before = np.concatenate(([0], gap - gap // 2))  # seconds put before each run, and after it
    after = np.concatenate((gap // 2, [0]))
    total = before + runs.lengths_s + after
    begins = np.concatenate(([0], np.cumsum(total)))
    run = np.repeat(np.arange(runs.n_runs), total)
    own = np.arange(begins[-1]) - (begins[:-1] + before)[run]  # second of its run, < 0: before it
    past = own - runs.lengths_s[run]  # >= 0: after it
    edge = sessions(runs)
    session = np.searchsorted(edge, runs.first[:-1], side="right") - 1
    back = np.minimum(np.maximum(runs.lengths_s, _BESIDE_S), runs.first[1:] - edge[session])
    ahead = np.minimum(np.maximum(runs.lengths_s, _BESIDE_S), edge[session + 1] - runs.first[:-1])
    # an outage beside a gap lasts as long as it was seen: the gap repeats what is beyond it
    tail, head = _outage_beside(rates_bps > outage_bps, runs)
    tail, head = np.where(tail < back, tail, 0), np.where(head < ahead, head, 0)
    late, early = past >= 0, own < 0
    source = runs.first[run] + own
    source[early] = (runs.first[:-1] + head)[run[early]] + _folded(
        -1 - own[early], (ahead - head)[run[early]]
    )
    source[late] = (runs.first[1:] - 1 - tail)[run[late]] - _folded(
        past[late], (back - tail)[run[late]]
    )
    shift = np.repeat(begins[:-1] + before - runs.first[:-1], runs.lengths_s)
    starts = np.isin(runs.first, edge)
    return rates_bps[source], begins[starts], np.arange(rates_bps.size) + shift


def _outage_beside(
    is_up: "NDArray[np.bool_]", runs: MeasuredRuns
) -> "tuple[NDArray[np.int64], NDArray[np.int64]]":
    """Seconds without service at each run's end and at its start, shape (r,). [s]"""
    n = is_up.size
    index = np.arange(n)
    last_up = np.maximum.accumulate(np.where(is_up, index, -1))
    next_up = np.minimum.accumulate(np.where(is_up, index, n)[::-1])[::-1]
    return runs.first[1:] - 1 - last_up[runs.first[1:] - 1], next_up[runs.first[:-1]] - runs.first[
        :-1
    ]


def _folded(steps: "NDArray[np.int64]", size: "NDArray[np.int64]") -> "NDArray[np.int64]":
    """0, 1, ... size - 1, size - 1, ... 1, 0, 0, 1, ...: there and back again."""
    at = steps % (2 * size)
    return np.minimum(at, 2 * size - 1 - at)


def _gaps_s(runs: MeasuredRuns) -> "NDArray[np.float64]":
    """Time between the end of each run and the start of the next, NaN without a clock. [s]"""
    end_s = runs.start_s + runs.lengths_s * GRID_S
    return runs.start_s[1:] - end_s[:-1]
