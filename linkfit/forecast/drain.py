"""When heaps are gone: what each step can move, cycle after cycle, against what still comes."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.plan_use import counted_bytes, kept_bytes, usable_bytes

if TYPE_CHECKING:
    from numpy.typing import NDArray

_EMPTY = 1e-9  # of the heap at its start: what rounding leaves of an empty one

Paces = Callable[[tuple[bool, ...], int], "tuple[NDArray[np.float64], NDArray[np.float64] | None]"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycles:
    """Steps of each cycle: `n_first` left of the running one, `n_before` of it over, then `then`.

    `then` repeats for ever: twelve months, or one cycle of 30 days.
    """

    n_first: int
    then: tuple[int, ...]
    n_before: int = 0

    def __post_init__(self) -> None:
        for name, number in (("n_first", self.n_first), *(("then", n) for n in self.then)):
            if number < 1:
                raise InputError(f"{name}: expected at least 1 step, got {number}")
        if not self.then:
            raise InputError("then: expected the steps of at least 1 cycle, got none")

    @property
    def lengths(self) -> tuple[int, ...]:
        """Steps from the start on of each kind of cycle: the running one, then those of `then`."""
        return (self.n_first, *self.then)

    def kind(self, cycle_number: int) -> int:
        """Place in `lengths` of a cycle, 0 for the running one."""
        return 1 + (cycle_number - 1) % len(self.then) if cycle_number else 0

    def part(self, kind: int) -> slice:
        """Where the steps of a kind lie in a row of all kinds."""
        before = sum(self.lengths[:kind])
        return slice(before, before + self.lengths[kind])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CycleCap:
    """The plan's cap as backlogs meet it in one kind of cycle.

    Parameters
    ----------
    cap_bytes : array, shape (d,)
        Of a cycle, as the plan counts.
    counted_factor : array, shape (d, k)
        Bytes that count for a payload byte of each backlog.
    others_bytes : array, shape (d,)
        Bytes that count of everything else in a step, from the same cap.
    carry_over_bytes : float
        Most of its unused cap that a cycle leaves to the next one.
    rounded_bytes : array, shape (d,), or float
        What the sessions of a step are rounded up to in whole multiples: multiple x sessions.
    keeps_aside : bool
        The others' bytes of a whole cycle are kept for them, however soon the rest is spent.
    first_spent_bytes : float, optional
        What the plan has counted of the running cycle; as others use theirs if not given.
    """

    cap_bytes: "NDArray[np.float64]"
    counted_factor: "NDArray[np.float64]"
    others_bytes: "NDArray[np.float64]"
    carry_over_bytes: float = 0.0
    rounded_bytes: "NDArray[np.float64] | float" = 0.0
    keeps_aside: bool = False
    first_spent_bytes: float | None = None

    @property
    def step_bytes(self) -> "NDArray[np.float64]":
        """What the others take of the cap in a step, beside what is kept aside for them."""
        return np.zeros_like(self.others_bytes) if self.keeps_aside else self.others_bytes

    def left_over(self, spent_bytes: "NDArray[np.float64]", n_steps: int) -> "NDArray[np.float64]":
        """What a cycle of `n_steps` that spent so much leaves to the next one."""
        sent = spent_bytes + self._aside(n_steps)
        counted = counted_bytes(sent, self.rounded_bytes * n_steps)
        return kept_bytes(self.cap_bytes, counted, self.carry_over_bytes)

    def room(self, carried_bytes: "NDArray[np.float64]", n_steps: int) -> "NDArray[np.float64]":
        """What a cycle of `n_steps` holds beside what is kept aside; below 0 if that is more."""
        usable = usable_bytes(self.cap_bytes + carried_bytes, self.rounded_bytes * n_steps)
        return usable - self._aside(n_steps)

    def spent_before(self, n_before: int) -> "NDArray[np.float64]":
        """What of `room` is spent at the start, `n_before` steps into the running cycle."""
        if self.first_spent_bytes is None:
            return self.step_bytes * n_before
        rounded = self.rounded_bytes * n_before
        used = usable_bytes(np.full_like(self.others_bytes, self.first_spent_bytes), rounded)
        return used - self._aside(n_before)

    def _aside(self, n_steps: int) -> "NDArray[np.float64]":
        return (self.others_bytes - self.step_bytes) * n_steps


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """When each heap is gone for the first time: the cycle, and steps into it; inf for never.

    Both of shape (d, k); cycle 0 is the running one, seen from the start.
    """

    cycle_number: "NDArray[np.float64]"
    step: "NDArray[np.float64]"
    cycles: Cycles

    @property
    def steps(self) -> "NDArray[np.float64]":
        """Steps from the start; shape (d, k)."""
        then = np.array(self.cycles.then, dtype=np.float64)
        ahead = np.where(self.cycle_number > 0, self.cycle_number - 1, 0.0)
        periods, rest = np.divmod(np.where(np.isfinite(ahead), ahead, 0.0), then.size)
        begins = np.concatenate(([0.0], np.cumsum(then)))[rest.astype(np.int64)]
        begins = self.cycles.n_first + periods * then.sum() + begins
        return np.where(self.cycle_number > 0, begins, 0.0) + self.step


def drain(
    paces: Paces,
    *,
    heap_bytes: "NDArray[np.float64]",
    arrivals_bytes: "NDArray[np.float64]",
    cycles: Cycles,
    caps: Sequence[CycleCap] | None = None,
) -> Ends:
    """When each of several heaps that share a link is gone for the first time.

    Parameters
    ----------
    paces : callable
        Payload of each step, shape (d, k, t), before the cap is spent and after it (None:
        nothing moves), given which of the heaps have been empty once and the kind of cycle.
    heap_bytes : array, shape (d, k)
        What waits at the start. [bytes]
    arrivals_bytes : array, shape (k,)
        What joins each heap in a step. [bytes]
    caps : sequence of CycleCap, optional
        Of each kind of cycle.

    Notes
    -----
    Between two ends everything repeats from one round of `cycles.then` to the next, so the number
    of whole rounds follows by division: each end costs a few rounds, however late it comes. What
    is carried over repeats as well, for it depends on the use of the one cycle before alone.
    """
    state = _State(heap_bytes, arrivals_bytes, cycles, caps)
    while state.running.any():
        kind = cycles.kind(state.number)
        n_end = cycles.lengths[kind]
        while (state.running & (state.at < n_end)).any():
            state.advance(paces, kind, n_end)
        state.next_cycle()
    return Ends(state.end_cycle, state.end_step, cycles)


class _State:
    """Where each draw stands: heaps, place in the cycle, what of the cap is spent."""

    def __init__(
        self,
        heap_bytes: "NDArray[np.float64]",
        arrivals_bytes: "NDArray[np.float64]",
        cycles: Cycles,
        caps: Sequence[CycleCap] | None,
    ) -> None:
        n_draws = heap_bytes.shape[0]
        self.room: NDArray[np.float64] = np.full(n_draws, math.inf)
        self.left = heap_bytes.astype(np.float64)
        self.empty = _EMPTY * heap_bytes
        self.arrivals = arrivals_bytes
        self.cycles, self.caps = cycles, caps
        self.done = np.zeros(heap_bytes.shape, dtype=bool)
        self.running = np.ones(n_draws, dtype=bool)
        self.skipped = np.zeros(n_draws)  # cycles that were not walked
        self.end_cycle = np.full(heap_bytes.shape, math.inf)
        self.end_step = np.full(heap_bytes.shape, math.inf)
        self.spent, self.carried = np.zeros(n_draws), np.zeros(n_draws)
        if caps is not None:  # the cycle before the start held the others alone
            n_steps = cycles.n_before + cycles.n_first
            self.carried = caps[0].left_over(caps[0].step_bytes * n_steps, n_steps)
        self._begin_cycle(0)
        self._begin_round()

    def _begin_cycle(self, number: int) -> None:
        n_draws, kind = self.running.size, self.cycles.kind(number)
        self.number = number
        self.n_steps = self.cycles.lengths[kind] + (0 if number else self.cycles.n_before)
        self.at = np.zeros(n_draws)
        self.capped = np.zeros(n_draws, dtype=bool)
        self.cap = None if self.caps is None else self.caps[kind]
        if self.cap is not None:
            self.room = self.cap.room(self.carried, self.n_steps)
            self.spent = np.zeros(n_draws)
            if number == 0:
                self.spent = self.cap.spent_before(self.cycles.n_before)
            self.capped = self.spent >= self.room

    def _begin_round(self) -> None:
        self.begin, self.lowest = self.left.copy(), self.left.copy()
        self.begin_carried = self.carried
        self.ended = np.zeros(self.running.size, dtype=bool)  # did a heap end in this round?

    def next_cycle(self) -> None:
        """From the end of a cycle to the next one, or on to a round in which a heap ends."""
        if self.cap is not None:
            self.carried = self.cap.left_over(self.spent, self.n_steps)
        if self.number % len(self.cycles.then) == 0:
            if self.number:
                self._skip_rounds()
            self._begin_round()
        self._begin_cycle(self.number + 1)

    def _skip_rounds(self) -> None:
        """Past the rounds in which no heap ends; draws in which none ever does stop."""
        net = self.begin - self.left
        ahead = self.left - (self.begin - self.lowest)
        with np.errstate(divide="ignore", invalid="ignore"):
            # too few whole rounds cost a pass, one too many an end: rounding goes down
            wait = np.maximum(np.ceil(ahead / net * (1 - 1e-12) - 1e-9), 0.0)
        ends = ~self.done & ((net > self.empty) | (ahead <= 0))
        n_skip = np.where(ends, np.where(ahead > 0, wait, 0.0), math.inf).min(axis=1)
        alike = self.running & ~self.ended
        if self.cap is not None:
            alike &= np.abs(self.carried - self.begin_carried) <= _EMPTY * self.cap.cap_bytes
        self.running &= ~(alike & np.isinf(n_skip))
        n_skip = np.where(alike & np.isfinite(n_skip), n_skip, 0.0)
        self.left = self.left - n_skip[:, None] * net
        self.skipped += n_skip * len(self.cycles.then)

    def advance(self, paces: Paces, kind: int, n_end: int) -> None:
        """Each running draw on to where a heap ends or the cap is spent, or to `n_end`."""
        rows = np.flatnonzero(self.running & (self.at < n_end))
        state = np.column_stack([self.done[rows], self.capped[rows]])
        states, group = np.unique(state, axis=0, return_inverse=True)
        for number, (*done, capped) in enumerate(states):
            mine = rows[group.reshape(-1) == number]
            before, after = paces(tuple(bool(flag) for flag in done), kind)
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
            wanted = (wanted + self.cap.step_bytes[rows, None]) * step_frac
            used = self._cap_spent(rows, wanted)
            self.capped[rows[used < stop]] = True
            stop = np.minimum(stop, used)
        self._go_to(rows, stop, after, wanted, step_frac)
        self.at[rows] += first
        at_once = (gone <= stop[:, None] + 1e-12) & np.isfinite(gone)
        row, index = np.nonzero(at_once)
        self.done[rows[row], index] = True
        self.end_cycle[rows[row], index] = self.number + self.skipped[rows[row]]
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
        room = self.room[rows] - self.spent[rows]
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
