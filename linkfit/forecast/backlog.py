"""When a backlog is done, and which constraint decides: rate, plan, hours, per-item cost, path.

The link is read in steps of an hour over one cycle of 30 days that repeats; services take their
mean load first, but never more than `1 - LEAST_SHARE_FRAC` of what is there, since transfers
share.
"""

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Protocol

import numpy as np

from linkfit.forecast.constraints import STEPS_PER_DAY, Case, binding_shares
from linkfit.forecast.data_use import PROTOCOL_FACTOR, PROTOCOL_SIGMA, forecast_data
from linkfit.forecast.demand import crossing, mean_load_bps
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours import common_part, day_intervals, open_hours
from linkfit.forecast.items import refused_text, total_payload_bytes
from linkfit.forecast.outcomes import BacklogForecast
from linkfit.forecast.power import HOURS_PER_DAY, hours_by_day, powered_hours
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, Site
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

CYCLE_DAYS = 30
WAYS = {"out": ("up",), "in": ("down",), "both": ("up", "down")}
OUTAGE_S = 10.0  # common practice: what breaks a transfer that cannot resume
_OUTAGE_LOOK_S = 4 * SECONDS_PER_HOUR


class PathSource(Protocol):
    """What a backlog needs of a link: its futures."""

    def paths(
        self,
        direction: str,
        *,
        horizon_s: float,
        n_draws: int,
        rng: np.random.Generator,
        n_worlds: int = ...,
        step_s: float = ...,
    ) -> CapacityPaths:
        """Futures of one direction."""
        ...


def forecast_backlog(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    *,
    seed: int = 0,
    n_draws: int = 400,
    n_worlds: int = 20,
    start: date | None = None,
    start_h: float = 0.0,
    paths: Mapping[str, CapacityPaths] | None = None,
    binding: bool = True,
) -> BacklogForecast:
    """Days until `backlog` is done, what decides them, and the chance to meet its deadline.

    Parameters
    ----------
    site : Site
        Plan, path, hours, services that come first, and other backlogs: those of a lower
        `priority` number go before, those of the same share equally.
    link : LinkModel
        Anything with its `paths` method.
    start : date, optional
        First day; decides how much of the billing cycle is over and how far the deadline is.
        Without it the backlog starts with a cycle and no deadline is judged.
    start_h : float
        Local hour of the start. [h]
    paths : mapping, optional
        Futures of "up" and "down" made before by `backlog_paths`, to save time.
    binding : bool
        False leaves out which constraint decides (five more runs), for a search.

    Returns
    -------
    forecast : BacklogForecast
        `refused` is set where the path cannot carry some items; the days are those of the rest.

    Notes
    -----
    `binding` is the constraint whose easing saves most days: a link twice as fast for "rate",
    the others gone. A cycle is 30 days and repeats with the same weather of the link.
    """
    if paths is None:
        paths = backlog_paths(
            link, WAYS[backlog.flow], seed=seed, n_draws=n_draws, n_worlds=n_worlds
        )
    case = _case(site, backlog, link, paths, seed, _clock(site, start, start_h))
    refused = refused_text(backlog, site.path)
    days = case.days()
    binding_frac: Mapping[str, float] = {"not asked": 1.0}
    if refused:
        binding_frac = {"path limit": 1.0}
    elif binding:
        binding_frac = binding_shares(case, days)
    in_time = None
    if backlog.deadline is not None and start is not None:
        left = (backlog.deadline - start).days + 1 - start_h / HOURS_PER_DAY
        in_time = float(np.mean(days <= left))
    return BacklogForecast(
        backlog=backlog,
        days=Forecast(draws=days, unit="days", world=case.world),
        binding=max(binding_frac, key=lambda name: binding_frac[name]),
        binding_frac=binding_frac,
        prob_by_deadline=in_time,
        refused=refused,
    )


def backlog_paths(
    link: PathSource,
    directions: Sequence[str],
    *,
    seed: int = 0,
    n_draws: int = 400,
    n_worlds: int = 20,
) -> Mapping[str, CapacityPaths]:
    """Futures of `directions` over one cycle in steps of an hour, for `forecast_backlog`."""
    return {
        direction: link.paths(
            direction,
            horizon_s=CYCLE_DAYS * SECONDS_PER_DAY,
            n_draws=n_draws,
            rng=_rng(seed, "paths", direction),
            n_worlds=n_worlds,
            step_s=SECONDS_PER_DAY / STEPS_PER_DAY,
        )
        for direction in directions
    }


def _rng(seed: int, *names: str) -> np.random.Generator:
    """An own generator for each purpose, so that a change of one leaves the others alone."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def _clock(site: Site, start: date | None, start_h: float) -> tuple[float, int]:
    """Local hour of the start, and steps left of the running billing cycle."""
    if start is None:
        return start_h, CYCLE_DAYS * STEPS_PER_DAY
    if start.day >= site.plan.cycle_day:
        age_days = start.day - site.plan.cycle_day
    else:
        last_month = start - timedelta(days=start.day)
        age_days = start.day + max(last_month.day - site.plan.cycle_day, 0)
    return start_h, max(CYCLE_DAYS - age_days, 1) * STEPS_PER_DAY


def _case(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    paths: Mapping[str, CapacityPaths],
    seed: int,
    clock: tuple[float, int],
) -> Case:
    """Everything that holds `backlog` back, in the units of one step."""
    start_h, n_first = clock
    ways = WAYS[backlog.flow]
    world = paths[ways[0]].world
    n_draws = world.size
    rates = paths[ways[0]].rates_bps
    for way in ways[1:]:
        rates = np.minimum(rates, paths[way].rates_bps)
    open_frac = _open_frac(site, backlog, start_h, n_draws, _rng(seed, "sun"))
    protocol = _protocol(world, _rng(seed, "protocol"))
    wire = crossing(site.path, backlog.flow)
    metered = site.plan.cap_bytes is not None and site.plan.price_per_gb is None
    return Case(
        backlog=backlog,
        world=world,
        rate_bps=rates,
        load_bps=max(mean_load_bps(site, way) for way in ways),
        open_frac=open_frac,
        wire_factor=max(wire.up_factor, wire.down_factor) * protocol,
        counted_factor=wire.factor(site.plan.counted) * protocol,
        heap_bytes=_heap_bytes(site, backlog, seed, n_draws),
        breaks_per_h=_breaks_per_h(backlog, link, ways, open_frac, seed, n_draws),
        per_item_s=backlog.per_item_s,
        rate_limit_bps=backlog.rate_limit_bps or math.inf,
        cap_bytes=site.plan.cap_bytes if metered and site.plan.cap_bytes else math.inf,
        throttle_bps=site.plan.throttle_bps or 0.0,
        others_bytes=_others_bytes(site, seed, n_draws) if metered else np.zeros(n_draws),
        n_first=n_first,
    )


def _protocol(world: "NDArray[np.int32]", rng: np.random.Generator) -> "NDArray[np.float64]":
    """What TLS and set-up add, known to a few percent; shape (d,)."""
    z = rng.standard_normal(int(world.max()) + 1)
    return PROTOCOL_FACTOR * np.exp(PROTOCOL_SIGMA * z - PROTOCOL_SIGMA**2 / 2)[world]


def _others_bytes(site: Site, seed: int, n_draws: int) -> "NDArray[np.float64]":
    """Counted bytes of services and background in a step; shape (d,)."""
    others = forecast_data(replace(site, backlogs=()), seed=seed, n_draws=n_draws)
    return others.use.draws / (CYCLE_DAYS * STEPS_PER_DAY)


def _heap_bytes(site: Site, backlog: Backlog, seed: int, n_draws: int) -> "NDArray[np.float64]":
    """Payload to move before this backlog is done: its own, and what goes before or beside it.

    With equal sharing another backlog of the same priority has moved as much as this one when
    this one is done, or all it has.
    """

    def payload(one: Backlog) -> "NDArray[np.float64]":
        return total_payload_bytes(one.size, one.n_items, _rng(seed, "backlog", one.name), n_draws)

    own = payload(backlog)
    heap = own.copy()
    for other in site.backlogs:
        shares = set(WAYS[other.flow]) & set(WAYS[backlog.flow])
        if other.name == backlog.name or not shares:
            continue
        if other.priority < backlog.priority:
            heap += payload(other)
        elif other.priority == backlog.priority:
            heap += np.minimum(payload(other), own)
    return heap


def _breaks_per_h(
    backlog: Backlog,
    link: PathSource,
    ways: Sequence[str],
    open_frac: "NDArray[np.float64]",
    seed: int,
    n_draws: int,
) -> "NDArray[np.float64]":
    """Breaks an hour of a transfer that cannot resume: outages, and the end of each day's hours."""
    if backlog.resumable:
        return np.zeros(n_draws)
    outages_per_h = 0.0
    for way in ways:
        fine = link.paths(
            way,
            horizon_s=_OUTAGE_LOOK_S,
            n_draws=40,
            rng=_rng(seed, "outages", way),
            n_worlds=20,
            step_s=1.0,
        )
        outages_per_h += outages_per_up_hour(fine)
    shut = (open_frac[:, :-1] > 0) & (open_frac[:, 1:] < open_frac[:, :-1])
    open_h = open_frac.sum(axis=1) * HOURS_PER_DAY / STEPS_PER_DAY
    closings_per_h = shut.sum(axis=1) / np.maximum(open_h, 1.0)
    return np.broadcast_to(outages_per_h + closings_per_h, n_draws).copy()


def outages_per_up_hour(paths: CapacityPaths) -> float:
    """Outages of at least `OUTAGE_S` for each hour in which the link carries something. [1/h]"""
    down = paths.rates_bps < 1.0
    n_least = max(1, round(OUTAGE_S / paths.step_s))
    begins = np.diff(down.astype(np.int8), axis=1, prepend=0) == 1
    n_outages = 0
    for row, step in np.argwhere(begins):
        n_outages += bool(down[row, step : step + n_least].all())
    up_h = float((~down).sum()) * paths.step_s / SECONDS_PER_HOUR
    return n_outages / max(up_h, 1.0)


def _open_frac(
    site: Site, backlog: Backlog, start_h: float, n_draws: int, rng: np.random.Generator
) -> "NDArray[np.float64]":
    """Part of each step in which the server has power and the backlog may run; (1 or d, t)."""
    n_steps = CYCLE_DAYS * STEPS_PER_DAY
    step_h = HOURS_PER_DAY / STEPS_PER_DAY
    clock = np.asarray(start_h + step_h * np.arange(n_steps + 1), dtype=np.float64)
    hours = common_part(day_intervals(site.hours.windows), day_intervals(backlog.window))
    fixed = np.diff(open_hours(hours, clock))[None, :] / step_h
    if site.hours.power is None:
        return fixed
    n_days = int(clock[-1] // HOURS_PER_DAY) + 1
    lasts = hours_by_day(site.hours.power, n_days, n_draws, rng)
    powered = np.diff(powered_hours(lasts, clock), axis=1) / step_h
    return np.asarray(fixed * powered, dtype=np.float64)
