"""When a heap is gone: what each step can move, cycle after cycle, against what still comes."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CycleCap:
    """The plan's cap as a backlog meets it: what others leave of it, and what goes on after it.

    Parameters
    ----------
    cap_bytes : float
        Per cycle. [counted bytes]
    counted_factor : array, shape (d,) or float
        Counted bytes for a payload byte of the backlog.
    others_bytes : array, shape (d,) or float
        Counted bytes that everything else uses in a step.
    after_bytes : array, shape (d, t)
        Payload that each step can move once the cap is spent. [bytes]
    """

    cap_bytes: float
    counted_factor: "NDArray[np.float64] | float"
    others_bytes: "NDArray[np.float64] | float"
    after_bytes: "NDArray[np.float64]"

    def curve(self, open_bytes: "NDArray[np.float64]", n_before: int) -> "NDArray[np.float64]":
        """Payload moved by the end of each step, of a cycle that is `n_before` steps old. [bytes]

        Parameters
        ----------
        open_bytes : array, shape (d, t)
            Payload that each step can move before the cap is spent.
        """
        n_draws, n_steps = open_bytes.shape
        factor = np.broadcast_to(np.asarray(self.counted_factor, float), n_draws)[:, None]
        others = np.broadcast_to(np.asarray(self.others_bytes, float), n_draws)[:, None]
        after = self.after_bytes[:, :n_steps]
        used_in_step = factor * open_bytes + others
        spent = np.cumsum(used_in_step, axis=1) + others * n_before
        with np.errstate(divide="ignore", invalid="ignore"):
            part = (self.cap_bytes - (spent - used_in_step)) / used_in_step
        part = np.where(used_in_step > 0, np.clip(part, 0.0, 1.0), spent < self.cap_bytes)
        # a step is open until the cap is spent, and the rest of it goes at the pace after it
        return np.cumsum(part * open_bytes + (1 - part) * np.minimum(after, open_bytes), axis=1)


def finish_days(
    open_bytes: "NDArray[np.float64]",
    *,
    step_days: float,
    heap_bytes: "NDArray[np.float64]",
    arrivals_bytes_per_day: float = 0.0,
    cap: CycleCap | None = None,
    n_first: int | None = None,
) -> "NDArray[np.float64]":
    """Days until the heap is gone for the first time; inf if it never is. [days]

    Parameters
    ----------
    open_bytes : array, shape (d, t)
        Payload that each step of a cycle can move (before the cap is spent). [bytes]
    step_days : float
        Length of a step. [days]
    heap_bytes : array, shape (d,)
        What waits at the start. [bytes]
    arrivals_bytes_per_day : float
        What joins the heap. [bytes/day]
    n_first : int, optional
        Steps left of the running cycle at the start; all t if not given.

    Notes
    -----
    After the first, all cycles are alike, so the number of whole cycles follows by division:
    O(d t) for any length of time.
    """
    n_steps = open_bytes.shape[1]
    n_first = n_steps if n_first is None else n_first
    if not 0 < n_first <= n_steps:
        raise InputError(f"n_first: expected 1 to {n_steps} steps, got {n_first}")
    coming = arrivals_bytes_per_day * step_days * np.arange(1, n_steps + 1)
    first = open_bytes[:, :n_first]
    first = np.cumsum(first, axis=1) if cap is None else cap.curve(first, n_steps - n_first)
    first = first - coming[:n_first]
    days = _first_time(first, heap_bytes) * step_days
    if np.isfinite(days).all():
        return days
    every = np.cumsum(open_bytes, axis=1) if cap is None else cap.curve(open_bytes, 0)
    every = every - coming
    left = heap_bytes - first[:, -1]
    best, net = every.max(axis=1), every[:, -1]
    with np.errstate(divide="ignore", invalid="ignore"):
        wait = np.ceil((left - best) / net * (1 - 1e-12))
    n_whole = np.where(left <= best, 0.0, np.where(net > 0, np.maximum(wait, 0.0), np.inf))
    never = np.isinf(n_whole)
    rest = left - np.where(never, 0.0, n_whole) * net
    last = _first_time(every, np.minimum(rest, best))
    later = (n_first + n_whole * n_steps + np.where(never, np.inf, last)) * step_days
    return np.where(np.isfinite(days), days, later)


def _first_time(
    moved_bytes: "NDArray[np.float64]", wanted_bytes: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """Steps until `moved_bytes` (linear inside a step, from 0 on) reaches `wanted_bytes`."""
    reached = moved_bytes >= wanted_bytes[:, None]
    step = reached.argmax(axis=1)
    rows = np.arange(wanted_bytes.size)
    before = np.where(step > 0, moved_bytes[rows, step - 1], 0.0)
    rise = moved_bytes[rows, step] - before
    inside = np.where(rise > 0, (wanted_bytes - before) / np.where(rise > 0, rise, 1.0), 1.0)
    return np.where(reached.any(axis=1), step + np.clip(inside, 0.0, 1.0), np.inf)
