"""From a site, its backlogs and a link to the steps of a drain: what holds each backlog back."""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.breaks import breaks_per_h
from linkfit.forecast.constraints import STEPS_PER_DAY, Case
from linkfit.forecast.cycle_calendar import CycleCalendar
from linkfit.forecast.data_use import PROTOCOL_FACTOR, PROTOCOL_SIGMA, forecast_data
from linkfit.forecast.demand import crossing, mean_load_bps
from linkfit.forecast.hours import Intervals, common_part, day_intervals, longer, open_hours
from linkfit.forecast.items import total_payload_bytes
from linkfit.forecast.path_source import CYCLE_DAYS, PathSource, named_rng
from linkfit.forecast.power import HOURS_PER_DAY, hours_by_day, powered_hours
from linkfit.forecast.shares import WAYS, Waiting
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import MONTHS
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
                                 n_draws=n_draws)  # fmt: skip
    protocol = _protocol(world, named_rng(seed, "protocol"))
    metered = _is_metered(site)
    calendar = None
    n_first = _N_STEPS
    if metered and start is not None:
        calendar = CycleCalendar(start=start, cycle_day=site.plan.cycle_day)
        n_first = min(calendar.days_left, CYCLE_DAYS) * STEPS_PER_DAY
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
        load_bps={way: mean_load_bps(site, way) for way in paths},
        up_frac=up_frac,
        cap_bytes=site.plan.cap_bytes if metered and site.plan.cap_bytes else math.inf,
        throttle_bps=site.plan.throttle_bps or 0.0,
        others_bytes=_others_bytes(site, seed, n_draws, kept) if metered else np.zeros(n_draws),
        n_first=n_first,
        calendar=calendar,
        used_bytes=used_bytes,
    )


def open_parts(
    site: Site,
    backlogs: Sequence[Backlog],
    *,
    start: date | None,
    start_h: float,
    seed: int,
    n_draws: int,
    extra_h: float = 0.0,
) -> "tuple[NDArray[np.float64], list[NDArray[np.float64]]]":
    """Part of each step in which the server is up, and in which each backlog may run.

    Each of shape (1, t), or (d, s t) with power: first cycles that differ (a full battery at the
    start; a year of months where the sun is known by month), then one that repeats, of the mean
    year. `extra_h` makes each day that much longer, 24 h at most.
    """
    clock = np.asarray(start_h + _STEP_H * np.arange(_N_STEPS + 1), dtype=np.float64)
    seasons = [np.ones((1, _N_STEPS))]
    if site.hours.power is not None:
        seasons = [
            np.diff(powered_hours(np.minimum(lasts + extra_h, HOURS_PER_DAY), its_clock), axis=1)
            / _STEP_H
            for lasts, its_clock in _lasts_by_cycle(
                site, start, clock, named_rng(seed, "sun"), n_draws
            )
        ]
    powered = np.concatenate(seasons, axis=1)

    def part(hours: Intervals) -> "NDArray[np.float64]":
        fixed = np.diff(open_hours(hours, clock))[None, :] / _STEP_H
        return np.asarray(np.tile(fixed, len(seasons)) * powered, dtype=np.float64)

    up = longer(day_intervals(site.hours.windows), extra_h)
    windows = [longer(day_intervals(backlog.window), extra_h) for backlog in backlogs]
    return part(up), [part(common_part(up, window)) for window in windows]


def _is_metered(site: Site) -> bool:
    """Does the plan stop or slow down what goes beyond a cap?"""
    return site.plan.cap_bytes is not None and site.plan.price_per_gb is None


def _lasts_by_cycle(
    site: Site,
    start: date | None,
    clock_h: "NDArray[np.float64]",
    rng: np.random.Generator,
    n_draws: int,
) -> "list[tuple[NDArray[np.float64], NDArray[np.float64]]]":
    """Hours that each day's energy lasts, shape (d, days), for each cycle that differs, and the
    clock on which its steps lie. [h]
    """
    power = site.hours.power
    assert power is not None
    n_days = CYCLE_DAYS + 2  # the clock may begin late on the first
    settled = CYCLE_DAYS  # by then the battery's first charge is spent
    usual = hours_by_day(power, settled + n_days, n_draws, rng)
    # a later cycle begins in the night of the day before it
    late_clock = clock_h + HOURS_PER_DAY
    last = (usual[:, settled - 1 :], late_clock)
    if start is None or not power.sun_hours_by_month:
        return [(usual[:, :n_days], clock_h), last]
    begins = [CYCLE_DAYS * ahead for ahead in range(1, MONTHS)]
    if _is_metered(site):
        cycles = CycleCalendar(start=start, cycle_day=site.plan.cycle_day)
        begins = [(cycles.begin(ahead) - start).days for ahead in range(1, MONTHS)]
    year = hours_by_day(power, begins[-1] + n_days, n_draws, rng, start=start)
    later = [(year[:, begin - 1 : begin + n_days], late_clock) for begin in begins]
    return [(year[:, :n_days], clock_h), *later, last]


def _protocol(world: "NDArray[np.int32]", rng: np.random.Generator) -> "NDArray[np.float64]":
    """What TLS and set-up add, known to a few percent; shape (d,)."""
    z = rng.standard_normal(int(world.max()) + 1)
    return PROTOCOL_FACTOR * np.exp(PROTOCOL_SIGMA * z - PROTOCOL_SIGMA**2 / 2)[world]


def _others_bytes(
    site: Site, seed: int, n_draws: int, kept: dict[Hashable, Any] | None
) -> "NDArray[np.float64]":
    """Counted bytes of services and background in a step; shape (d,)."""
    others = forecast_data(replace(site, backlogs=()), seed=seed, n_draws=n_draws, kept=kept)
    return others.use.draws / _N_STEPS
