"""How much of the uplink caches save: for each lifetime, by formula or from a site's own log."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative
from linkfit.forecast.caching import lifetime_hit_frac
from linkfit.forecast.demand import background_share, task_bytes_per_day
from linkfit.forecast.draws import Forecast
from linkfit.forecast.request_reuse import lifetime_hits, log_hits
from linkfit.site.model import Service, Site, Task
from linkfit.units import DAYS_PER_MONTH, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.access_log import AccessLog

N_DRAWS = 1000
# how often an object is asked for again is seldom known better: common practice
VIEWS_SPREAD = 2.0
DIRECTION = "up"


@dataclass(frozen=True, slots=True, kw_only=True)
class CachedTask:
    """A task whose payload may be kept, with what it sends up in a day before any cache."""

    service: Service
    task: Task
    bytes_per_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """What one lifetime saves.

    Parameters
    ----------
    lifetime_s : float or None
        The same for every task whose payload may be kept; None: of each its own. [s]
    hits : Forecast
        Share of their bytes that caches answer. [fraction]
    saved : Forecast
        Share of all bytes of the uplink that this keeps off it, against no cache at all;
        backlogs left out. [fraction]
    month : Forecast
        The same in bytes of 30 days. [bytes]
    """

    lifetime_s: float | None
    hits: Forecast
    saved: Forecast
    month: Forecast


def cached_tasks(site: Site) -> tuple[CachedTask, ...]:
    """Every task that sends what a cache may keep, with its bytes up before any cache."""
    found = []
    for service in site.services:
        for task in service.tasks:
            if task.cache.scope == "none" or task.flow == "in":
                continue
            bare = replace(task, cache=replace(task.cache, lifetime_s=0.0))
            amount = task_bytes_per_day(site, service, bare, DIRECTION)
            found.append(CachedTask(service=service, task=task, bytes_per_day=amount))
    return tuple(found)


def uplink_savings(
    site: Site,
    lifetimes_s: Sequence[float | None],
    *,
    log: "AccessLog | None" = None,
    rng: np.random.Generator,
) -> tuple[Saving, ...]:
    """What each lifetime keeps off the uplink.

    Parameters
    ----------
    site : Site
        Which tasks may be kept, by whom, and all that goes up besides.
    lifetimes_s : sequence of float or None
        To compare; None: of each task its own, as the site is. [s]
    log : AccessLog, optional
        The site's own requests: then they tell the hits, browsers' by visitor, shared ones of
        all together. Without it the hits are ``lT / (1 + lT)`` at the views of the site file.
    rng : numpy.random.Generator
        Of the draws.

    Notes
    -----
    By formula the views of an object are taken to be known to a factor of 2 (geometric standard
    deviation, common practice), the same factor for all lifetimes of a draw.
    """
    tasks = cached_tasks(site)
    total = uplink_bytes_per_day(site)
    factor = VIEWS_SPREAD ** rng.standard_normal(N_DRAWS)
    seed = int(rng.integers(2**63))
    found = []
    for lifetime_s in lifetimes_s:
        if lifetime_s is not None:
            non_negative("lifetime_s", lifetime_s)
        kept = np.zeros(N_DRAWS)
        by_lifetime: dict[float, dict[str, NDArray[np.float64]]] = {}
        for one in tasks:
            own_s = one.task.cache.lifetime_s if lifetime_s is None else lifetime_s
            if log is not None and own_s not in by_lifetime:
                by_lifetime[own_s] = _log_hits(log, own_s, seed)
            by_scope = by_lifetime.get(own_s, {})
            kept += one.bytes_per_day * _hits(one, own_s, factor, by_scope)
        cacheable = max(sum(one.bytes_per_day for one in tasks), 1e-9)
        found.append(
            Saving(
                lifetime_s=lifetime_s,
                hits=_forecast(kept / cacheable, "fraction"),
                saved=_forecast(kept / max(total, 1e-9), "fraction"),
                month=_forecast(kept * DAYS_PER_MONTH, "bytes"),
            )
        )
    return tuple(found)


def uplink_bytes_per_day(site: Site) -> float:
    """What goes up in a day if no cache answers anything; backlogs left out. [bytes/day]"""
    return sum(one.bytes_per_day for one in cached_tasks(site)) + _rest_per_day(site)


def _hits(
    one: CachedTask,
    lifetime_s: float,
    factor: "NDArray[np.float64]",
    by_scope: "dict[str, NDArray[np.float64]]",
) -> "NDArray[np.float64]":
    cache = one.task.cache
    if cache.scope in by_scope:
        return by_scope[cache.scope]
    n_sharing = one.service.n_users if cache.scope == "shared" else min(one.service.n_users, 1)
    per_s = cache.views_per_object_day * n_sharing / SECONDS_PER_DAY
    return np.array([lifetime_hit_frac(per_s * x, lifetime_s) for x in factor])


def _log_hits(log: "AccessLog", lifetime_s: float, seed: int) -> "dict[str, NDArray[np.float64]]":
    """Draws of the share of bytes that browsers and a shared cache answer, shape (d,) each."""
    found = {}
    for scope in ("browser", "shared"):
        rng = np.random.default_rng(seed)  # the same visitors for every lifetime and scope
        hits = log_hits(log, lifetime_hits(log, lifetime_s, scope), rng=rng)
        found[scope] = np.resize(hits.bytes.draws, N_DRAWS)
    return found


def _rest_per_day(site: Site) -> float:
    """What goes up in a day besides: tasks that no cache may keep, and background. [bytes/day]"""
    tasks = sum(
        task_bytes_per_day(site, service, task, DIRECTION)
        for service in site.services
        for task in service.tasks
        if task.cache.scope == "none" or task.flow == "in"
    )
    machines = sum(
        cause.bytes_per_day * background_share(cause, DIRECTION) for cause in site.background
    )
    return tasks + machines


def _forecast(draws: "NDArray[np.float64]", unit: str) -> Forecast:
    return Forecast(draws=draws, unit=unit, world=np.arange(draws.size, dtype=np.int32) % 20)
