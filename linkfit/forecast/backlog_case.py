"""From a site, its backlogs and a link to the steps of a drain: what holds each backlog back."""

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.breaks import breaks_per_h
from linkfit.forecast.constraints import STEPS_PER_DAY, Case
from linkfit.forecast.cycle_calendar import CycleCalendar
from linkfit.forecast.data_use import (
    PROTOCOL_FACTOR,
    PROTOCOL_SIGMA,
    forecast_data,
    rounded_bytes_per_day,
)
from linkfit.forecast.demand import crossing, mean_load_bps
from linkfit.forecast.drain import Cycles
from linkfit.forecast.energy import year_levels
from linkfit.forecast.hours import Intervals, common_part, day_intervals, longer, open_hours
from linkfit.forecast.items import total_payload_bytes
from linkfit.forecast.path_source import CYCLE_DAYS, PathSource, named_rng
from linkfit.forecast.power import HOURS_PER_DAY, hours_by_day, powered_hours
from linkfit.forecast.shares import WAYS, Waiting
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import MONTHS, Hours
from linkfit.site.model import Backlog, Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

_STEP_H = HOURS_PER_DAY / STEPS_PER_DAY
_N_STEPS = CYCLE_DAYS * STEPS_PER_DAY


def backlog_case(
    site: Site,
    backlogs: Sequence[Backlog],
    own: int,
    link: PathSource,
    paths: Mapping[str, CapacityPaths],
    *,
    seed: int,
    start: date | None,
    start_h: float,
    used_bytes: float | None = None,
    kept: dict[Hashable, Any] | None = None,
) -> Case:
    """Everything that holds `backlogs` back, ready to drain; `own` is the one asked about.

    `kept` as in `forecast_data`.
    """
    world = next(iter(paths.values())).world
    n_draws = world.size
    up_frac, opened = open_parts(site, backlogs, start=start, start_h=start_h, seed=seed,
                                 world=world)  # fmt: skip
    protocol = _protocol(world, named_rng(seed, "protocol"))
    metered = is_metered(site)
    days = case_days(site, start, start_h)
    others = rounded = np.zeros(n_draws)
    if metered:
        others = days.by_kind(site, lambda one: _others_bytes(one, seed, n_draws, kept))
        rounded = days.by_kind(site, lambda one: _rounded_bytes(one, seed, n_draws))
    waiting = []
    for backlog, open_frac in zip(backlogs, opened, strict=True):
        wire = crossing(site.path, backlog.flow)
        waiting.append(
            Waiting(
                backlog=backlog,
                heap_bytes=total_payload_bytes(
                    backlog.size, backlog.n_items, named_rng(seed, "backlog", backlog.name), n_draws
                ),
                open_frac=open_frac,
                wire_factor=max(wire.up_factor, wire.down_factor) * protocol,
                counted_factor=wire.factor(site.plan.counted) * protocol,
                breaks_per_h=breaks_per_h(
                    backlog,
                    link,
                    WAYS[backlog.flow],
                    open_frac,
                    _STEP_H,
                    seed,
                    n_draws,
                    timeout_s=site.path.idle_timeout_s,
                ),
            )
        )
    return Case(
        waiting=tuple(waiting),
        own=own,
        world=world,
        rate_bps={way: found.rates_bps for way, found in paths.items()},
        load_bps={way: days.by_kind(site, partial(mean_load_bps, direction=way)) for way in paths},
        up_frac=up_frac,
        cycles=days.cycles,
        calendar=days.calendar,
        cap_bytes=site.plan.cap_bytes if metered and site.plan.cap_bytes else math.inf,
        carry_over_bytes=site.plan.carry_over_bytes,
        throttle_bps=site.plan.throttle_bps or 0.0,
        others_bytes=others,
        rounded_bytes=rounded,
        used_bytes=used_bytes,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseDays:
    """The cycles that a backlog goes through: on the calendar, or of 30 days from its start on.

    `calendar` is None where the date is not known, or where nothing depends on it.
    """

    cycles: Cycles
    calendar: CycleCalendar | None
    start_h: float

    def clocks_h(self) -> "list[NDArray[np.float64]]":
        """Hours since the start's midnight at which the steps of each kind of cycle lie. [h]"""
        clocks: list[NDArray[np.float64]] = []
        begin_h = self.start_h
        for kind, n_steps in enumerate(self.cycles.lengths):
            if kind and self.calendar is not None:
                begin_h = self.start_h + self.calendar.begins_after_days(kind) * HOURS_PER_DAY
            clocks.append(begin_h + _STEP_H * np.arange(n_steps + 1, dtype=np.float64))
            begin_h = float(clocks[-1][-1])
        return clocks

    def by_kind(
        self, site: Site, compute: "Callable[[Site], float | NDArray[np.float64]]"
    ) -> "NDArray[np.float64]":
        """`compute` of `site` with the hours of each kind of cycle, in turn; shape (s, ...)."""
        found: dict[Hours, float | NDArray[np.float64]] = {}
        by_kind = []
        for kind, n_steps in enumerate(self.cycles.lengths):
            hours = site.hours
            if self.calendar is not None:
                first = self.calendar.begin(kind) if kind else self.calendar.start
                hours = hours.on(first, math.ceil(n_steps / STEPS_PER_DAY))
            if hours not in found:
                found[hours] = compute(replace(site, hours=hours))
            by_kind.append(found[hours])
        return np.array(by_kind, dtype=np.float64)


def case_days(site: Site, start: date | None, start_h: float) -> CaseDays:
    """Cycles on the calendar where the plan has a cap or the sun differs by month, and a date.

    Notes
    -----
    On the calendar the running cycle goes first, then the twelve that follow, which repeat: from
    the second year on its weather and its leap day are those of the first.
    """
    power = site.hours.power
    by_month = power is not None and bool(power.sun_hours_by_month)
    if start is None or not (is_metered(site) or by_month):
        return CaseDays(
            cycles=Cycles(n_first=_N_STEPS, then=(_N_STEPS,)), calendar=None, start_h=start_h
        )
    cycle_day = site.plan.cycle_day if is_metered(site) else 1
    calendar = CycleCalendar(start=start, cycle_day=cycle_day, start_h=start_h)
    n_first = max(round(calendar.begins_after_days(1) * STEPS_PER_DAY), 1)
    n_all = calendar.length_days(0) * STEPS_PER_DAY
    then = tuple(calendar.length_days(n) * STEPS_PER_DAY for n in range(1, MONTHS + 1))
    cycles = Cycles(n_first=n_first, n_before=max(n_all - n_first, 0), then=then)
    return CaseDays(cycles=cycles, calendar=calendar, start_h=start_h)


def open_parts(
    site: Site,
    backlogs: Sequence[Backlog],
    *,
    start: date | None,
    start_h: float,
    seed: int,
    world: "NDArray[np.int32]",
    extra_h: float = 0.0,
) -> "tuple[NDArray[np.float64], list[NDArray[np.float64]]]":
    """Part of each step in which the server is up, and in which each backlog may run.

    Each of shape (1, t), or (d, t) with power, for all kinds of cycles in turn. Days differ, and
    so do the worlds' years and panels. `extra_h` makes each day that much longer, 24 h at most.
    """
    clocks_h = case_days(site, start, start_h).clocks_h()
    powered = [np.ones((1, clock.size - 1)) for clock in clocks_h]
    if site.hours.power is not None:
        n_days = math.ceil(clocks_h[-1][-1] / HOURS_PER_DAY) + 1
        lasts_h = hours_by_day(
            site.hours.power, n_days, world.size, named_rng(seed, "sun"), start=start,
            levels=year_levels(seed, int(world.max()) + 1)[world],
        )  # fmt: skip
        lasts_h = np.minimum(lasts_h + extra_h, HOURS_PER_DAY)
        powered = [np.diff(powered_hours(lasts_h, clock), axis=1) / _STEP_H for clock in clocks_h]

    def part(hours: Intervals) -> "NDArray[np.float64]":
        fixed = [np.diff(open_hours(hours, clock)) / _STEP_H for clock in clocks_h]
        parts = [one * up for one, up in zip(fixed, powered, strict=True)]
        return np.concatenate(parts, axis=1)

    up = longer(day_intervals(site.hours.windows), extra_h)
    windows = [longer(day_intervals(backlog.window), extra_h) for backlog in backlogs]
    return part(up), [part(common_part(up, window)) for window in windows]


def is_metered(site: Site) -> bool:
    """Does the plan stop or slow down what goes beyond a cap?"""
    return site.plan.cap_bytes is not None and site.plan.price_per_gb is None


def _protocol(world: "NDArray[np.int32]", rng: np.random.Generator) -> "NDArray[np.float64]":
    """What TLS and set-up add, known to a few percent; shape (d,)."""
    z = rng.standard_normal(int(world.max()) + 1)
    return PROTOCOL_FACTOR * np.exp(PROTOCOL_SIGMA * z - PROTOCOL_SIGMA**2 / 2)[world]


def _others_bytes(
    site: Site, seed: int, n_draws: int, kept: dict[Hashable, Any] | None
) -> "NDArray[np.float64]":
    """Bytes of services and background in a step before sessions are rounded up; shape (d,)."""
    plan = replace(site.plan, round_up_bytes=None)
    others = replace(site, backlogs=(), plan=plan)
    return forecast_data(others, seed=seed, n_draws=n_draws, kept=kept).use.draws / _N_STEPS


def _rounded_bytes(site: Site, seed: int, n_draws: int) -> "NDArray[np.float64]":
    """What the plan rounds the sessions of a step up to; shape (d,)."""
    return rounded_bytes_per_day(site, seed=seed, n_draws=n_draws) / STEPS_PER_DAY
