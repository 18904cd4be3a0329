"""When heaps are gone: what each step can move, cycle after cycle, against what still comes."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_EMPTY = 1e-9  # of the heap at its start: what rounding leaves of an empty one

Paces = Callable[[tuple[bool, ...], int], "tuple[NDArray[np.float64], NDArray[np.float64] | None]"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CycleCap:
    """The plan's cap as backlogs meet it.

    Parameters
    ----------
    cap_bytes : array, shape (d,)
        That a cycle holds for them and for `others_bytes`. [counted bytes]
    counted_factor : array, shape (d, k)
        Counted bytes for a payload byte of each backlog.
    others_bytes : array, shape (d,)
        Counted bytes that everything else uses in a step, from the same cap.
    first_spent_bytes : array, shape (d,), optional
        Counted bytes that the running cycle has spent already; as if others had used theirs all
        along if not given.
    """

    cap_bytes: "NDArray[np.float64]"
    counted_factor: "NDArray[np.float64]"
    others_bytes: "NDArray[np.float64]"
    first_spent_bytes: "NDArray[np.float64] | None" = None


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """When each heap is gone for the first time: the cycle, and steps into it; inf for never.

    Both of shape (d, k); cycle 0 is the running one, of which `n_first` steps were left.
    """

    cycle_number: "NDArray[np.float64]"
    step: "NDArray[np.float64]"
    n_first: int
    n_steps: int

    @property
    def steps(self) -> "NDArray[np.float64]":
        """Steps from the start, where all cycles have `n_steps`; shape (d, k)."""
        before = self.n_first + (self.cycle_number - 1) * self.n_steps
        return np.where(self.cycle_number > 0, before, 0.0) + self.step


def drain(
    paces: Paces,
    *,
    heap_bytes: "NDArray[np.float64]",
    arrivals_bytes: "NDArray[np.float64]",
    n_steps: int,
    n_first: int | None = None,
    cap: CycleCap | None = None,
    n_seasons: int = 1,
) -> Ends:
    """When each of several heaps that share a link is gone for the first time.

    Parameters
    ----------
    paces : callable
        Payload of each step, shape (d, k, t), before the cap is spent and after it (None:
        nothing moves), given which of the heaps have been empty once and the season.
    heap_bytes : array, shape (d, k)
        What waits at the start. [bytes]
    arrivals_bytes : array, shape (k,)
        What joins each heap in a step. [bytes]
    n_steps, n_first : int
        Steps of a cycle, and those left of the running one at the start.
    n_seasons : int
        The first cycles differ: cycle 0 is season 0, and so on; the last season stays.

    Notes
    -----
    Between two ends everything repeats from cycle to cycle of the last season, so the number of
    whole cycles follows by division: each end costs a few passes of O(d k t), however late.
    """
    n_first = n_steps if n_first is None else n_first
    if not 0 < n_first <= n_steps:
        raise InputError(f"n_first: expected 1 to {n_steps} steps, got {n_first}")
    state = _State(heap_bytes, arrivals_bytes, n_steps - n_first, cap)
    n_end, season = n_first, 0
    while state.running.any():
        while (state.running & (state.at < n_end)).any():
            state.advance(paces, season, n_end)
        state.next_cycle(may_skip=n_end == n_steps and season == n_seasons - 1)
        n_end, season = n_steps, min(season + 1, n_seasons - 1)
    return Ends(state.end_cycle, state.end_step, n_first, n_steps)


class _State:
    """Where each draw stands: heaps, place in the cycle, what of the cap is spent."""

    def __init__(
        self,
        heap_bytes: "NDArray[np.float64]",
        arrivals_bytes: "NDArray[np.float64]",
        n_before: int,
        cap: CycleCap | None,
    ) -> None:
        n_draws = heap_bytes.shape[0]
        self.left = heap_bytes.astype(np.float64)
        self.empty = _EMPTY * heap_bytes
        self.arrivals = arrivals_bytes
        self.cap = cap
        self.done = np.zeros(heap_bytes.shape, dtype=bool)
        self.running = np.ones(n_draws, dtype=bool)
        self.cycle = np.zeros(n_draws)
        self.end_cycle = np.full(heap_bytes.shape, math.inf)
        self.end_step = np.full(heap_bytes.shape, math.inf)
        self._begin_cycle(n_before, is_first=True)

    def _begin_cycle(self, n_before: int = 0, *, is_first: bool = False) -> None:
        n_draws = self.running.size
        self.at = np.zeros(n_draws)
        self.spent = np.zeros(n_draws)
        self.capped = np.zeros(n_draws, dtype=bool)
        if self.cap is not None:
            self.spent = self.cap.others_bytes * n_before
            if self.cap.first_spent_bytes is not None and is_first:
                self.spent = self.cap.first_spent_bytes.astype(np.float64)
            self.capped = self.spent >= self.cap.cap_bytes
        self.begin, self.lowest = self.left.copy(), self.left.copy()
        self.ended = np.zeros(n_draws, dtype=bool)  # did a heap end in this cycle?

    def next_cycle(self, *, may_skip: bool) -> None:
        """On to the next cycle in which a heap can end; draws in which none ever does stop."""
        if may_skip:
            net = self.begin - self.left
            ahead = self.left - (self.begin - self.lowest)
            with np.errstate(divide="ignore", invalid="ignore"):
                # too few whole cycles cost a pass, one too many an end: rounding goes down
                wait = np.maximum(np.ceil(ahead / net * (1 - 1e-12) - 1e-9), 0.0)
            ends = ~self.done & ((net > self.empty) | (ahead <= 0))
            n_skip = np.where(ends, np.where(ahead > 0, wait, 0.0), math.inf).min(axis=1)
            alike = self.running & ~self.ended
            self.running &= ~(alike & np.isinf(n_skip))
            n_skip = np.where(alike & np.isfinite(n_skip), n_skip, 0.0)
            self.left = self.left - n_skip[:, None] * net
            self.cycle += n_skip
        self.cycle += 1
        self._begin_cycle()

    def advance(self, paces: Paces, season: int, n_end: int) -> None:
        """Each running draw on to where a heap ends or the cap is spent, or to `n_end`."""
        rows = np.flatnonzero(self.running & (self.at < n_end))
        kind = np.column_stack([self.done[rows], self.capped[rows]])
        kinds, group = np.unique(kind, axis=0, return_inverse=True)
        for number, (*done, capped) in enumerate(kinds):
            mine = rows[group.reshape(-1) == number]
            before, after = paces(tuple(bool(flag) for flag in done), season)
            if capped and after is None:
                self.left[mine] += self.arrivals * (n_end - self.at[mine, None])
                self.at[mine] = n_end
                continue
            first = int(self.at[mine].min())  # the steps before are behind all of them
            pace = before[mine, :, first:n_end]
            if capped and after is not None:
                pace = np.minimum(after[mine, :, first:n_end], pace)
            self._advance_alike(mine, pace, first, capped=bool(capped))

    def _advance_alike(
        self,
        rows: "NDArray[np.int64]",
        pace_bytes: "NDArray[np.float64]",
        first: int,
        *,
        capped: bool,
    ) -> None:
        """`advance` for draws in which the same heaps have been empty; from step `first` on."""
        steps = first + np.arange(1, pace_bytes.shape[2] + 1)
        step_frac = np.clip(steps - self.at[rows, None], 0.0, 1.0)
        after = (self.arrivals[:, None] - pace_bytes) * step_frac[:, None, :]
        after = self.left[rows, :, None] + np.cumsum(after, axis=2, out=after)
        gone = self._first_end(rows, after)
        stop = gone.min(axis=1)
        wanted = np.zeros(step_frac.shape)
        if self.cap is not None and not capped:
            factor = self.cap.counted_factor[rows]
            wanted = np.einsum("dkt,dk->dt", pace_bytes, factor)
            wanted = (wanted + self.cap.others_bytes[rows, None]) * step_frac
            used = self._cap_spent(rows, wanted)
            self.capped[rows[used < stop]] = True
            stop = np.minimum(stop, used)
        self._go_to(rows, stop, after, wanted, step_frac)
        self.at[rows] += first
        at_once = (gone <= stop[:, None] + 1e-12) & np.isfinite(gone)
        row, index = np.nonzero(at_once)
        self.done[rows[row], index] = True
        self.end_cycle[rows[row], index] = self.cycle[rows[row]]
        self.end_step[rows[row], index] = self.at[rows[row]]
        self.ended[rows] |= at_once.any(axis=1)
        self.running[rows] = ~self.done[rows].all(axis=1)

    def _first_end(
        self, rows: "NDArray[np.int64]", after_bytes: "NDArray[np.float64]"
    ) -> "NDArray[np.float64]":
        """Step and part of it at which each waiting heap is empty; inf if not; shape (d, k)."""
        hit = after_bytes <= self.empty[rows][:, :, None]
        step = hit.argmax(axis=2)
        stop = np.take_along_axis(after_bytes, step[:, :, None], axis=2)[:, :, 0]
        previous = np.maximum(step - 1, 0)[:, :, None]
        start = np.take_along_axis(after_bytes, previous, axis=2)[:, :, 0]
        start = np.where(step == 0, self.left[rows], start)
        fall = start - stop
        share = np.clip(start / np.where(fall > 0, fall, math.inf), 0.0, 1.0)
        waits = hit.any(axis=2) & ~self.done[rows]
        return np.where(waits, step + share, math.inf)

    def _cap_spent(
        self, rows: "NDArray[np.int64]", wanted_bytes: "NDArray[np.float64]"
    ) -> "NDArray[np.float64]":
        """Step and part of it at which the cap is spent; inf if not; shape (d,)."""
        assert self.cap is not None
        room = self.cap.cap_bytes[rows] - self.spent[rows]
        spent = np.cumsum(wanted_bytes, axis=1)
        over = spent >= room[:, None]
        step = over.argmax(axis=1)
        line = np.arange(rows.size)
        in_step = wanted_bytes[line, step]
        short = room - (spent[line, step] - in_step)
        share = np.clip(short / np.where(in_step > 0, in_step, math.inf), 0.0, 1.0)
        return np.where(over.any(axis=1), step + share, math.inf)

    def _go_to(
        self,
        rows: "NDArray[np.int64]",
        stop_step: "NDArray[np.float64]",
        after_bytes: "NDArray[np.float64]",
        wanted_bytes: "NDArray[np.float64]",
        step_frac: "NDArray[np.float64]",
    ) -> None:
        """Move `rows` to their `stop_step` (its part counts what is left of the step)."""
        n_end = step_frac.shape[1]
        line = np.arange(rows.size)
        ends = np.minimum(stop_step, n_end)
        step = np.minimum(ends.astype(np.int64), n_end - 1)
        share = ends - step
        previous = np.maximum(step - 1, 0)
        start = np.where((step == 0)[:, None], self.left[rows], after_bytes[line, :, previous])
        passed = np.arange(n_end) < step[:, None]
        seen = np.where(passed[:, None, :], after_bytes, math.inf).min(axis=2)
        self.left[rows] = start + share[:, None] * (after_bytes[line, :, step] - start)
        self.lowest[rows] = np.minimum(np.minimum(self.lowest[rows], seen), self.left[rows])
        used = np.where(passed, wanted_bytes, 0.0).sum(axis=1)
        self.spent[rows] += used + share * wanted_bytes[line, step]
        came = 1.0 - step_frac[line, step]  # of the step, where it was entered
        self.at[rows] = step + came + share * step_frac[line, step]
