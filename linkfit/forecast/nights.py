"""A backlog in the hours of one night: will it do, how many nights, and does waiting gain?"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.backlog import forecast_backlog, paths_for
from linkfit.forecast.chances import Chance, chance_of
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours import day_intervals, open_hours
from linkfit.forecast.outcomes import BacklogForecast
from linkfit.forecast.path_source import PathSource, has_pattern
from linkfit.forecast.power import HOURS_PER_DAY
from linkfit.forecast.shares import WAYS
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow
from linkfit.site.model import Backlog, Site
from linkfit.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """How many windows of `length_h` a backlog takes, the first of which begins at its start.

    `nights` has unit "nights"; `first` is the chance that the first one does.
    """

    length_h: float
    first: Chance
    nights: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A backlog started now against the same one in `window` only, over the same futures.

    `later` is how much later the window alone ends it [days]; `times_as_fast` the link's mean
    rate in the window for that of the other hours, None where no daily pattern was measured;
    `n_unmeasured` counts hours of the window that nobody measured.
    """

    window: DayWindow
    now: Forecast
    waited: Forecast
    later: Forecast
    times_as_fast: Forecast | None
    n_unmeasured: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A backlog's forecast with what else was asked about it."""

    forecast: BacklogForecast
    nights: Nights | None = None
    waiting: Waiting | None = None


def answer_backlog(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    *,
    seed: int = 0,
    start: date | None = None,
    start_h: float = 0.0,
    night_h: float | None = None,
    wait_for: DayWindow | None = None,
    used_bytes: float | None = None,
) -> Answer:
    """When `backlog` is done and what would end it sooner, in nights and against waiting.

    Parameters
    ----------
    start_h : float
        Local hour of the start, with which the first night begins. [h]
    night_h : float, optional
        It runs for so long each day, from `start_h` on: how many such nights does it take? [h]
    wait_for : DayWindow, optional
        Compare with the same backlog in this window only.
    used_bytes : float, optional
        What the running billing cycle has spent by `start`. [bytes]

    Raises
    ------
    FitError
        If a direction that it crosses was never measured.
    """
    if night_h is not None:
        backlog = within_hours(backlog, start_h, night_h)
    paths = paths_for(site, backlog, link, seed=seed, start_h=start_h)

    def forecast(one: Backlog, *, prices: bool) -> BacklogForecast:
        return forecast_backlog(
            site, one, link,
            seed=seed, start=start, start_h=start_h, paths=paths, binding=prices, prices=prices,
            used_bytes=used_bytes,
        )  # fmt: skip

    found = forecast(backlog, prices=True)
    waiting = None
    if wait_for is not None:
        waited = forecast(replace(backlog, window=(wait_for,)), prices=False)
        waiting = compare_waiting(found, waited, wait_for, link, paths)
    nights = None if night_h is None else nights_of(found, night_h)
    return Answer(forecast=found, nights=nights, waiting=waiting)


def within_hours(backlog: Backlog, start_h: float, length_h: float) -> Backlog:
    """`backlog`, but run from `start_h` on for `length_h` of each day."""
    if not 0 < length_h <= HOURS_PER_DAY:
        raise InputError(f"--within: expected a time above 0 and up to 24 h, got {length_h:g} h")
    if length_h == HOURS_PER_DAY:
        return replace(backlog, window=())
    end_h = (start_h + length_h) % HOURS_PER_DAY
    return replace(backlog, window=(DayWindow(start_h=start_h % HOURS_PER_DAY, end_h=end_h),))


def nights_of(forecast: BacklogForecast, length_h: float) -> Nights:
    """`forecast` in windows of `length_h`, where it starts with the first of them."""
    days = forecast.days.draws
    number = np.where(np.isinf(days), math.inf, np.floor(days) + 1)
    return Nights(
        length_h=length_h,
        first=chance_of(days <= length_h / HOURS_PER_DAY, forecast.days.world),
        nights=Forecast(draws=number, unit="nights", world=forecast.days.world),
    )


def compare_waiting(
    now: BacklogForecast,
    waited: BacklogForecast,
    window: DayWindow,
    link: PathSource,
    paths: Mapping[str, CapacityPaths],
) -> Waiting:
    """What it costs to wait for `window`, and how much faster the link is then.

    Parameters
    ----------
    now, waited : BacklogForecast
        The backlog in all its hours and in `window` only, of one seed.
    paths : mapping of "up" and "down" to CapacityPaths
        The futures that both used, in steps that divide a day.
    """
    with np.errstate(invalid="ignore"):
        later = waited.days.draws - now.days.draws
    later = np.where(np.isnan(later), 0.0, later)  # never, either way
    ways = WAYS[now.backlog.flow]
    ratio, unmeasured = None, 0
    if has_pattern(link, ways):
        never = {hour for way in ways for hour in link.direction(way).daily.hours_never_measured}
        inside = np.diff(open_hours(day_intervals([window]), np.arange(25.0)))
        unmeasured = sum(1 for hour in never if inside[hour] > 0)
        draws = np.min([_ratio(paths[way], window, now.start_h) for way in ways], axis=0)
        ratio = Forecast(draws=draws, unit="times", world=now.days.world)
    return Waiting(
        window=window,
        now=now.days,
        waited=waited.days,
        later=Forecast(draws=later, unit="days", world=now.days.world),
        times_as_fast=ratio,
        n_unmeasured=unmeasured,
    )


def _ratio(paths: CapacityPaths, window: DayWindow, start_h: float) -> "NDArray[np.float64]":
    """Mean rate inside `window` for that outside; shape (d,)."""
    step_h = paths.step_s / SECONDS_PER_HOUR
    clock = start_h + step_h * np.arange(paths.rates_bps.shape[1] + 1)
    inside = np.diff(open_hours(day_intervals([window]), clock)) / step_h
    outside = 1.0 - inside
    fast = paths.rates_bps @ inside / max(inside.sum(), 1e-9)
    slow = paths.rates_bps @ outside / max(outside.sum(), 1e-9)
    return np.asarray(fast / np.maximum(slow, 1.0), dtype=np.float64)
