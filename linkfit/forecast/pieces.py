"""Pieces sent one after the other over a link that breaks: what is whole counts, the rest is lost.

A whole file is one piece; a client that sends chunks loses one chunk at a break; N files at once
that share the link in step are pieces of N times the size.
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, positive
from linkfit.forecast.chances import Chance, chance_of
from linkfit.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.forecast.long_paths import LongPaths
    from linkfit.link.paths import CapacityPaths

LONGEST_S = 30 * SECONDS_PER_DAY  # what takes longer is said to end never
MOST_TRIES = 200  # breaks in a row, nothing kept in between, after which it is given up
_MOST_ROUNDS = 300  # then the pace so far is taken for the rest: a long heap has met all weather
_PIECES_AT_ONCE = 4
_CLOSE = 1 + 1e-12  # a piece that ends exactly at a break has passed


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaks:
    """What breaks a transfer besides outages.

    Parameters
    ----------
    drops_per_s : float
        Drops at random moments. [1/s]
    total_timeout_s : float
        Longest time of one piece; inf: none. [s]
    reconnect_s : float
        From a break to the next attempt. [s]
    """

    drops_per_s: float = 0.0
    total_timeout_s: float = math.inf
    reconnect_s: float = 0.0

    def __post_init__(self) -> None:
        non_negative("drops_per_s", self.drops_per_s)
        non_negative("reconnect_s", self.reconnect_s)
        if self.total_timeout_s != math.inf:
            positive("total_timeout_s", self.total_timeout_s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sent:
    """What became of a heap on each long path, shape (n,).

    `time_s` and `first_s` (until `first_bits` were kept) are inf where it was given up;
    `wasted_bits` were sent and lost.
    """

    time_s: "NDArray[np.float64]"
    first_s: "NDArray[np.float64]"
    wasted_bits: "NDArray[np.float64]"
    n_breaks: "NDArray[np.int64]"


@dataclass(slots=True, kw_only=True)
class _Run:
    """The state of all long paths: where they are, what is kept, when the next drop comes."""

    long: "LongPaths"
    piece_bits: float
    total_bits: float
    first_bits: float
    breaks: Breaks
    rng: "Generator"
    now_s: "NDArray[np.float64]" = field(init=False)
    kept_bits: "NDArray[np.float64]" = field(init=False)
    wasted_bits: "NDArray[np.float64]" = field(init=False)
    first_s: "NDArray[np.float64]" = field(init=False)
    end_s: "NDArray[np.float64]" = field(init=False)
    drop_s: "NDArray[np.float64]" = field(init=False)
    n_breaks: "NDArray[np.int64]" = field(init=False)
    n_in_vain: "NDArray[np.int64]" = field(init=False)
    safe_until: "NDArray[np.int64] | None" = field(init=False)

    def __post_init__(self) -> None:
        n = self.long.n_draws
        self.safe_until = None
        if math.isfinite(self.breaks.total_timeout_s):
            self.safe_until = _safe_until(
                self.long.paths, self.piece_bits, self.breaks.total_timeout_s
            )
        self.now_s = self.long.starts_s.copy()
        self.kept_bits, self.wasted_bits = np.zeros(n), np.zeros(n)
        self.first_s, self.end_s = np.full(n, np.inf), np.full(n, np.inf)
        self.n_breaks, self.n_in_vain = np.zeros((2, n), dtype=np.int64)
        self.drop_s = self._drops_after_s(self.now_s)

    def _drops_after_s(self, times_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
        if not self.breaks.drops_per_s:
            return np.full(times_s.shape, np.inf)
        return times_s + self.rng.exponential(1 / self.breaks.drops_per_s, times_s.shape)

    def go_on(self, who: "NDArray[np.int64]") -> None:
        """Send until the next break (or a number of pieces) on the long paths `who`."""
        now_s = self.now_s[who]
        break_s = np.minimum(self.long.next_break_s(now_s, who), self.drop_s[who])
        have_bits = self.long.carried_bits(now_s, who)
        if self.safe_until is not None:
            gained_bits, at_s, break_s = self._timed(who, have_bits, break_s)
        else:
            gained_bits, at_s = self._untimed(who, have_bits, break_s)
        kept_bits = self.kept_bits[who] + gained_bits
        passed = (self.kept_bits[who] < self.first_bits) & (kept_bits >= self.first_bits / _CLOSE)
        reached_bits = have_bits + self.first_bits - self.kept_bits[who]
        self.first_s[who[passed]] = self.long.time_at_bits_s(reached_bits[passed], who[passed])
        self.kept_bits[who] = kept_bits
        self.n_in_vain[who[gained_bits > 0]] = 0
        ended = kept_bits >= self.total_bits / _CLOSE
        self.end_s[who[ended]] = at_s[ended]
        broken = ~ended & np.isfinite(break_s)
        self._break(who[broken], have_bits[broken] + gained_bits[broken], break_s[broken])
        going = ~ended & ~broken
        self.now_s[who[going]] = at_s[going]

    def go_on_at_pace(self, who: "NDArray[np.int64]") -> None:
        """End the long paths `who` at the pace at which they came so far."""
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = self.total_bits / self.kept_bits[who]
            first_factor = self.first_bits / self.kept_bits[who]
        start_s = self.long.starts_s[who]
        taken_s = self.now_s[who] - start_s
        self.end_s[who] = start_s + taken_s * factor
        self.first_s[who] = np.minimum(self.first_s[who], start_s + taken_s * first_factor)
        moved = np.isfinite(factor)
        self.wasted_bits[who[moved]] *= factor[moved]
        self.n_breaks[who[moved]] = np.round(self.n_breaks[who[moved]] * factor[moved])

    def _break(
        self,
        who: "NDArray[np.int64]",
        kept_to_bits: "NDArray[np.float64]",
        break_s: "NDArray[np.float64]",
    ) -> None:
        """Lose what is not whole, and start again."""
        lost_bits = self.long.carried_bits(break_s, who) - kept_to_bits
        self.wasted_bits[who] += np.maximum(lost_bits, 0.0)
        self.n_breaks[who] += 1
        self.n_in_vain[who] += 1
        self.now_s[who] = break_s + self.breaks.reconnect_s
        due = self.drop_s[who] <= self.now_s[who]
        self.drop_s[who[due]] = self._drops_after_s(self.now_s[who[due]])

    def _untimed(
        self,
        who: "NDArray[np.int64]",
        have_bits: "NDArray[np.float64]",
        break_s: "NDArray[np.float64]",
    ) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
        """Bits of whole pieces sent before `break_s`, and when the heap ends (if it does)."""
        left_bits = self.total_bits - self.kept_bits[who]
        end_s = self.long.time_at_bits_s(have_bits + left_bits, who)
        ends = end_s <= break_s * _CLOSE
        until_s = np.where(ends, self.now_s[who], np.minimum(break_s, 1e300))
        can_bits = np.zeros(who.size)
        can_bits[~ends] = self.long.carried_bits(until_s[~ends], who[~ends]) - have_bits[~ends]
        whole_bits = np.floor(can_bits * _CLOSE / self.piece_bits) * self.piece_bits
        return np.where(ends, left_bits, np.minimum(whole_bits, left_bits)), end_s

    def _timed(
        self,
        who: "NDArray[np.int64]",
        have_bits: "NDArray[np.float64]",
        break_s: "NDArray[np.float64]",
    ) -> "tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]":
        """Bits of the next pieces in time, when the last ended, and when the next one broke."""
        gained_bits = self._safe_bits(who, have_bits, break_s)
        at_s = self.long.time_at_bits_s(have_bits + gained_bits, who)
        broken_s = np.full(who.size, np.inf)
        near = gained_bits == 0
        gained_bits[near], at_s[near], broken_s[near] = self._timed_one_by_one(
            who[near], have_bits[near], break_s[near]
        )
        return gained_bits, at_s, broken_s

    def _safe_bits(
        self,
        who: "NDArray[np.int64]",
        have_bits: "NDArray[np.float64]",
        break_s: "NDArray[np.float64]",
    ) -> "NDArray[np.float64]":
        """Bits of whole pieces that end before any piece could come too late or break."""
        assert self.safe_until is not None
        paths, now_s = self.long.paths, self.now_s[who]
        which = np.floor(now_s / paths.horizon_s).astype(np.int64)
        inside_s = np.maximum(now_s - which * paths.horizon_s, 0.0)
        step = np.minimum((inside_s / paths.step_s).astype(np.int64), paths.n_steps - 1)
        row = self.long.order[who, which % self.long.order.shape[1]]
        until_s = which * paths.horizon_s + self.safe_until[row, step] * paths.step_s
        until_s = np.clip(np.minimum(until_s, break_s), now_s, None)
        can_bits = self.long.carried_bits(until_s, who) - have_bits
        whole_bits = np.floor(can_bits / self.piece_bits) * self.piece_bits
        left_bits = self.total_bits - self.kept_bits[who]
        # the last piece, perhaps a smaller one, is timed alone
        before_last = np.ceil(left_bits / (self.piece_bits * _CLOSE)) - 1
        return np.minimum(whole_bits, np.maximum(before_last, 0.0) * self.piece_bits)

    def _timed_one_by_one(
        self,
        who: "NDArray[np.int64]",
        have_bits: "NDArray[np.float64]",
        break_s: "NDArray[np.float64]",
    ) -> "tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]":
        """As `_timed`, each of the next pieces looked at."""
        left_bits = self.total_bits - self.kept_bits[who]
        steps = self.piece_bits * np.arange(1, _PIECES_AT_ONCE + 1)
        goal_bits = np.minimum(steps[None, :], left_bits[:, None])
        rows = np.broadcast_to(who[:, None], goal_bits.shape)
        ends_s = self.long.time_at_bits_s(have_bits[:, None] + goal_bits, rows)
        begins_s = np.concatenate((self.now_s[who][:, None], ends_s[:, :-1]), axis=1)
        with np.errstate(invalid="ignore"):
            in_time = ends_s - begins_s <= self.breaks.total_timeout_s
        good = np.logical_and.accumulate(in_time & (ends_s <= break_s[:, None] * _CLOSE), axis=1)
        n_good = good.sum(axis=1)
        index = np.arange(who.size)
        last = np.maximum(n_good - 1, 0)
        gained_bits = np.where(n_good > 0, goal_bits[index, last], 0.0)
        at_s = np.where(n_good > 0, ends_s[index, last], self.now_s[who])
        broken_s = np.minimum(break_s, at_s + self.breaks.total_timeout_s)
        return gained_bits, at_s, np.where(n_good == _PIECES_AT_ONCE, np.inf, broken_s)


def _safe_until(paths: "CapacityPaths", piece_bits: float, timeout_s: float) -> "NDArray[np.int64]":
    """For each row and step: the first later step whose start may be too slow for a piece.

    A piece that starts inside step i has at least the bits from the end of that step to
    `timeout_s` after its begin; what lies across the end of a row counts as unknown.
    """
    n_wait = int(timeout_s / paths.step_s)
    bits = paths.cumulative_bits
    slow = np.ones((paths.n_draws, paths.n_steps), dtype=np.bool_)
    n_known = paths.n_steps - n_wait + 1
    if n_wait >= 1 and n_known > 0:
        sure_bits = bits[:, n_wait : n_wait + n_known] - bits[:, 1 : n_known + 1]
        slow[:, :n_known] = sure_bits < piece_bits
    where = np.where(slow, np.arange(paths.n_steps), paths.n_steps)
    return np.minimum.accumulate(where[:, ::-1], axis=1)[:, ::-1]


def send_pieces(
    long: "LongPaths",
    *,
    piece_bits: float,
    total_bits: float,
    breaks: Breaks,
    rng: "Generator",
    first_bits: float | None = None,
) -> Sent:
    """Send `total_bits` in pieces of `piece_bits`, the last one smaller; a break loses a piece.

    Parameters
    ----------
    long : LongPaths
        Rates at which the heap itself moves, what each piece costs besides already taken off.
    first_bits : float, optional
        Also tell when so much was kept; the first piece if not given. [bits]

    Notes
    -----
    Between two breaks the whole pieces are counted, so the work grows with the breaks and not
    with the pieces; with a total timeout pieces are timed one by one where the link may be too
    slow for it. Given up after `MOST_TRIES` breaks in a row or `LONGEST_S`. A heap that is not
    through after 300 breaks (or pieces timed) goes on at its own pace so far.
    """
    total_bits = positive("total_bits", total_bits)
    piece_bits = min(positive("piece_bits", piece_bits), total_bits)
    run = _Run(
        long=long,
        piece_bits=piece_bits,
        total_bits=total_bits,
        first_bits=min(first_bits or piece_bits, total_bits),
        breaks=breaks,
        rng=rng,
    )
    who = np.arange(long.n_draws)
    for _ in range(_MOST_ROUNDS):
        run.go_on(who)
        late = run.now_s[who] - long.starts_s[who] > LONGEST_S
        done = run.kept_bits[who] >= total_bits / _CLOSE
        who = who[~done & ~late & (run.n_in_vain[who] < MOST_TRIES)]
        if not who.size:
            break
    run.go_on_at_pace(who)
    time_s, first_s = run.end_s - long.starts_s, run.first_s - long.starts_s
    return Sent(
        time_s=np.where(time_s <= LONGEST_S, time_s, np.inf),
        first_s=np.where(first_s <= LONGEST_S, first_s, np.inf),
        wasted_bits=run.wasted_bits,
        n_breaks=run.n_breaks,
    )


def unbroken_chance(
    long: "LongPaths", *, piece_bits: float, breaks: Breaks, rng: "Generator", n_each: int = 10
) -> Chance:
    """Chance that one piece passes at its first attempt, from random moments. [probability]

    Notes
    -----
    Outages and the total timeout are looked up on the paths; drops at random moments count as
    their chance to stay away, exp(-L T).
    """
    who = np.repeat(np.arange(long.n_draws), n_each)
    starts_s = rng.uniform(0.0, long.round_s, who.size)
    have_bits = long.carried_bits(starts_s, who)
    ends_s = long.time_at_bits_s(have_bits + positive("piece_bits", piece_bits), who)
    taken_s = ends_s - starts_s
    passed = ends_s <= long.next_break_s(starts_s, who) * _CLOSE
    passed &= (taken_s <= breaks.total_timeout_s) & np.isfinite(taken_s)
    stays = np.exp(-breaks.drops_per_s * np.where(passed, taken_s, 0.0))
    return chance_of(passed * stays, long.world[who])
