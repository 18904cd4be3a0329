"""What holds backlogs back, step by step, and which of it decides when one is done."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.cycle_calendar import CycleCalendar
from linkfit.forecast.drain import CycleCap, Cycles, Ends, drain
from linkfit.forecast.shares import WAYS, Waiting, payload_by_step
from linkfit.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS_PER_DAY = 24
STEP_S = SECONDS_PER_DAY / STEPS_PER_DAY
LEAST_SHARE_FRAC = 0.1  # assumption: busy services leave a backlog a tenth of the link
CONSTRAINTS = (
    "data plan", "hours", "per-item cost", "path limit", "rate limit", "other backlogs", "rate",
)  # fmt: skip
_HORIZON_DAYS = 36525.0  # a century: later than that is never

_Paces = tuple["NDArray[np.float64]", "NDArray[np.float64] | None"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Backlogs that share a link with all that holds them back, ready to be eased.

    Parameters
    ----------
    waiting : tuple of Waiting
        All backlogs; the one that is asked about has the index `own`.
    world : array of int, shape (d,)
        World of each draw.
    rate_bps : mapping of "up" and "down" to array, shape (d, t)
        Of the link, before services. [bit/s]
    load_bps : mapping of float, or of array, shape (s,)
        What services and background ask of each way; of each kind of cycle. [bit/s]
    up_frac : array, shape (d or 1, s t)
        Part of each step in which the server is up, for all kinds of cycles in turn; so has
        `open_frac` of each backlog.
    cycles : Cycles
        Their steps. The link's own futures of `t` steps repeat.
    calendar : CycleCalendar or None
        When cycles begin; None: all are as long, from the start on.
    cap_bytes, carry_over_bytes : float
        Of the plan, in a cycle; inf without one. [counted bytes]
    throttle_bps : float
        Rate after the cap; 0: it stops. [bit/s]
    others_bytes, rounded_bytes : array, shape (d,) or (s, d)
        Bytes of services and background in a step, in the directions that count, and what the
        plan rounds the sessions of a step up to; of each kind of cycle.
    used_bytes : float or None
        Counted bytes of the running cycle that are spent; None: as services use them.

    Notes
    -----
    A plan that stops: services get their data of the whole cycle first, and backlogs share what
    is left. A plan that throttles: whoever comes first spends it, and all go on slowly.
    """

    waiting: tuple[Waiting, ...]
    own: int = 0
    world: "NDArray[np.int32]"
    rate_bps: "Mapping[str, NDArray[np.float64]]"
    load_bps: "Mapping[str, float | NDArray[np.float64]]"
    up_frac: "NDArray[np.float64]"
    cycles: Cycles
    calendar: CycleCalendar | None = None
    cap_bytes: float = math.inf
    carry_over_bytes: float = 0.0
    throttle_bps: float = 0.0
    others_bytes: "NDArray[np.float64]"
    rounded_bytes: "NDArray[np.float64] | float" = 0.0
    used_bytes: float | None = None
    _kept: dict[tuple[object, ...], _Paces] = field(default_factory=dict, repr=False)

    @property
    def n_steps(self) -> float:
        """Steps of a mean cycle."""
        return sum(self.cycles.then) / len(self.cycles.then)

    def days(self) -> "NDArray[np.float64]":
        """Days until the backlog asked about is done, shape (d,)."""
        return self.all_days()[:, self.own]

    def all_days(self) -> "NDArray[np.float64]":
        """Days until each backlog is done, shape (d, k); inf for never."""
        ends = drain(
            self.paces,
            heap_bytes=np.stack([one.heap_bytes for one in self.waiting], axis=1),
            arrivals_bytes=np.array(
                [one.arrivals_bytes_per_day / STEPS_PER_DAY for one in self.waiting]
            ),
            cycles=self.cycles,
            caps=self._caps(),
        )
        days = self._calendar_days(ends)
        return np.where(days > _HORIZON_DAYS, math.inf, days)

    def _calendar_days(self, ends: Ends) -> "NDArray[np.float64]":
        """Days of `ends`; with a calendar cycles begin on their days of the month."""
        if self.calendar is None:
            return ends.steps / STEPS_PER_DAY
        return self.calendar.days_at(ends.cycle_number, ends.step / STEPS_PER_DAY)

    def _caps(self) -> list[CycleCap] | None:
        """The plan's cap in each kind of cycle; None without one."""
        if math.isinf(self.cap_bytes):
            return None
        shape = (len(self.cycles.lengths), self.world.size)
        factor = np.stack([one.counted_factor for one in self.waiting], axis=1)
        return [
            CycleCap(
                cap_bytes=np.full_like(others, self.cap_bytes),
                counted_factor=factor,
                others_bytes=others,
                carry_over_bytes=self.carry_over_bytes,
                rounded_bytes=rounded,
                keeps_aside=not self.throttle_bps,
                first_spent_bytes=self.used_bytes,
            )
            for others, rounded in zip(
                np.broadcast_to(self.others_bytes, shape),
                np.broadcast_to(self.rounded_bytes, shape),
                strict=True,
            )
        ]

    def paces(self, done: tuple[bool, ...], kind: int) -> _Paces:
        """Payload of each step before the cap is spent and after it; (d, k, t) each. [bytes]"""
        like, n_steps = self._like(kind), self.cycles.lengths[kind]
        key = (done, like)
        if key not in self._kept:
            after = None
            if self.throttle_bps and math.isfinite(self.cap_bytes):
                after = self._payload(done, like, self.throttle_bps)
            self._kept[key] = (self._payload(done, like, math.inf), after)
        before, after = self._kept[key]
        return before[:, :, :n_steps], None if after is None else after[:, :, :n_steps]

    def _like(self, kind: int) -> int:
        """The longest kind of cycle if `kind` begins just as it does, else `kind` itself."""
        lengths = self.cycles.lengths
        longest = max(range(1, len(lengths)), key=lengths.__getitem__)
        if kind == 0 or kind == longest:
            return kind
        mine = self.cycles.part(kind)
        begin = self.cycles.part(longest).start
        its = slice(begin, begin + lengths[kind])
        parts = [self.up_frac, *(one.open_frac for one in self.waiting)]
        loads = [np.broadcast_to(load, len(lengths)) for load in self.load_bps.values()]
        is_alike = all(np.array_equal(part[:, mine], part[:, its]) for part in parts)
        return longest if is_alike and all(one[kind] == one[longest] for one in loads) else kind

    def _payload(
        self, done: tuple[bool, ...], kind: int, throttle_bps: float
    ) -> "NDArray[np.float64]":
        begin = self.cycles.n_first if kind else 0  # later cycles begin at the same hour of the day
        its = begin + np.arange(self.cycles.lengths[kind])
        left = {}
        for way, rates in self.rate_bps.items():
            there = np.minimum(rates[:, its % rates.shape[1]], throttle_bps)
            load_bps = np.broadcast_to(self.load_bps[way], len(self.cycles.lengths))[kind]
            left[way] = np.maximum(there - load_bps, LEAST_SHARE_FRAC * there)
        part = self.cycles.part(kind)
        waiting = [replace(one, open_frac=one.open_frac[:, part]) for one in self.waiting]
        return payload_by_step(waiting, done, left, self.up_frac[:, part], STEP_S)

    def edited(self, **edit: object) -> "Case":
        """The case with other values."""
        return replace(self, _kept={}, **edit)  # type: ignore[arg-type]

    def with_own(self, **edit: object) -> "Case":
        """The case with other values of the backlog that is asked about."""
        waiting = list(self.waiting)
        waiting[self.own] = replace(waiting[self.own], **edit)  # type: ignore[arg-type]
        return self.edited(waiting=tuple(waiting))

    def eased(self, constraint: str) -> "Case":
        """The case without `constraint`; for "rate" with a link twice as fast."""
        own = self.waiting[self.own]
        if constraint == "rate":
            return self.edited(rate_bps={way: 2 * bps for way, bps in self.rate_bps.items()})
        if constraint == "data plan":
            return self.edited(cap_bytes=math.inf)
        if constraint == "hours":
            always = np.ones_like(self.up_frac)
            opened = tuple(replace(one, open_frac=always) for one in self.waiting)
            return self.edited(up_frac=always, waiting=opened)
        if constraint == "per-item cost":
            return self.with_own(backlog=replace(own.backlog, per_item_s=0.0))
        if constraint == "rate limit":
            return self.with_own(backlog=replace(own.backlog, rate_limit_bps=None))
        if constraint == "other backlogs":
            return self.edited(waiting=(own,), own=0)
        return self.with_own(breaks_per_h=np.zeros_like(own.breaks_per_h))

    def present(self) -> tuple[str, ...]:
        """The constraints that this case has at all."""
        own = self.waiting[self.own]
        there = {
            "data plan": math.isfinite(self.cap_bytes),
            "hours": bool((own.open_frac < 1).any()),
            "per-item cost": own.backlog.per_item_s > 0,
            "path limit": not own.backlog.resumable and bool((own.breaks_per_h > 0).any()),
            "rate limit": own.backlog.rate_limit_bps is not None,
            "other backlogs": len(self.waiting) > 1,
            "rate": True,
        }
        return tuple(name for name in CONSTRAINTS if there[name])

    def long_run_bytes_per_day(self) -> "NDArray[np.float64]":
        """Payload that the backlog can move while nothing ends, in the long run; shape (d,)."""
        caps = self._caps()
        carried, total = np.zeros(self.world.size), np.zeros(self.world.size)
        kinds = range(1, len(self.cycles.lengths))
        for is_settled, kind in [*((False, kind) for kind in kinds), *((True, k) for k in kinds)]:
            before, after = self.paces((False,) * len(self.waiting), kind)
            moved, n_steps = before[:, self.own].sum(axis=1), self.cycles.lengths[kind]
            if caps is not None:
                cap = caps[kind]
                wanted = np.einsum("dkt,dk->d", before, cap.counted_factor)
                wanted = wanted + cap.step_bytes * n_steps
                part = np.clip(cap.room(carried, n_steps) / np.maximum(wanted, 1e-9), 0.0, 1.0)
                carried = cap.left_over(part * wanted, n_steps)
                slow = 0.0 if after is None else after[:, self.own].sum(axis=1)
                moved = part * moved + (1 - part) * slow
            if is_settled:  # the first round shows what it carries over
                total += moved
        return total / (sum(self.cycles.then) / STEPS_PER_DAY)

    def ways(self) -> tuple[str, ...]:
        """Directions of the link that the backlog crosses."""
        return WAYS[self.waiting[self.own].backlog.flow]


def binding_shares(case: Case, base_days: "NDArray[np.float64]") -> Mapping[str, float]:
    """Share of futures in which easing each constraint saves most days."""
    names = case.present()
    saved = np.empty((len(names), base_days.size))
    for index, name in enumerate(names):
        eased = case.eased(name).days()
        # between two that only one of the changes ends, the sooner end is the larger gain
        with np.errstate(invalid="ignore"):
            gain = np.where(np.isinf(base_days), 1e12 - eased, base_days - eased)
        saved[index] = np.where(np.isinf(eased), 0.0, gain)
    best = np.where(saved.max(axis=0) > 0, saved.argmax(axis=0), len(names) - 1)
    shares = np.bincount(best, minlength=len(names)) / base_days.size
    return {name: float(share) for name, share in zip(names, shares, strict=True) if share > 0}
