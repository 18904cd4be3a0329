"""When a backlog is done, and which constraint decides: rate, plan, hours, per-item cost, path.

The link is read in steps of an hour over 30 days that repeat, the plan in cycles of the calendar
where a first day is known, else of 30 days. Services take their mean load first, but never more
than `1 - LEAST_SHARE_FRAC` of what is there, since transfers share.
"""

from collections.abc import Hashable, Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import FitError
from linkfit.forecast.backlog_assumed import backlog_assumed
from linkfit.forecast.backlog_case import backlog_case
from linkfit.forecast.chances import Chance, chance_of
from linkfit.forecast.constraints import Case, binding_shares
from linkfit.forecast.draws import Forecast
from linkfit.forecast.easing import easings
from linkfit.forecast.items import refused_text
from linkfit.forecast.never import why_never
from linkfit.forecast.outcomes import BacklogForecast, Easing
from linkfit.forecast.path_source import N_DRAWS, PathSource, backlog_paths
from linkfit.forecast.power import HOURS_PER_DAY
from linkfit.forecast.shares import WAYS
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, Site

if TYPE_CHECKING:
    from numpy.typing import NDArray


def forecast_backlog(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    *,
    seed: int = 0,
    n_draws: int = N_DRAWS,
    n_worlds: int = 20,
    start: date | None = None,
    start_h: float = 0.0,
    paths: Mapping[str, CapacityPaths] | None = None,
    binding: bool = True,
    prices: bool = False,
    used_bytes: float | None = None,
) -> BacklogForecast:
    """Days until `backlog` is done, what decides them, and the chance to meet its deadline.

    Parameters
    ----------
    site : Site
        Plan, path, hours, services that come first, and other backlogs: those of a lower
        `priority` number go before, those of the same share equally.
    link : LinkModel
        Anything with its `paths` and `direction` methods.
    start : date, optional
        First day; decides how much of the billing cycle is over, how far the deadline is, and
        which months' sun holds.
        Without it the backlog starts with a cycle and no deadline is judged.
    start_h : float
        Local hour of the start. [h]
    paths : mapping, optional
        Futures of "up" and "down" made before by `backlog_paths`, to save time. Backlogs that
        cross a direction it lacks are left out.
    binding : bool
        False leaves out which constraint decides (some more runs), for a search.
    used_bytes : float, optional
        What the running cycle has spent by `start`; as services use it if not given. [bytes]
    prices : bool
        Also how much sooner each small easing would end it, over the same futures.

    Returns
    -------
    forecast : BacklogForecast
        `refused` is set where the path cannot carry some items; the days are those of the rest.

    Notes
    -----
    `binding` is the constraint whose easing saves most days: a link twice as fast for "rate",
    the others gone. A month of the link is 30 days and repeats with the same weather. With a
    `start` a plan's cycles begin on their day of the month and each month has its own sun;
    without one cycles have 30 days and the sun of the mean year. A plan that stops keeps its
    services' data of the whole cycle aside, and backlogs share the rest, what the cycle before
    has left over among it.
    """
    if paths is None:
        paths = paths_for(
            site, backlog, link, seed=seed, n_draws=n_draws, n_worlds=n_worlds, start_h=start_h
        )
    others = [one for one in site.backlogs if one.name != backlog.name]
    known = [one for one in others if set(WAYS[one.flow]) <= set(paths)]
    case = backlog_case(
        site, [backlog, *known], 0, link, paths,
        seed=seed, start=start, start_h=start_h, used_bytes=used_bytes,
    )  # fmt: skip
    clock = (start, start_h)
    return _forecast(case, site, case.days(), clock, seed, binding=binding, prices=prices)


def forecast_backlogs(
    site: Site,
    link: PathSource,
    paths: Mapping[str, CapacityPaths],
    *,
    seed: int = 0,
    start: date | None = None,
    start_h: float = 0.0,
    binding: bool = True,
    kept: dict[Hashable, Any] | None = None,
) -> Mapping[str, BacklogForecast]:
    """Every backlog of `site` that crosses no direction but those of `paths`, by name.

    One drain for all of them: the same figures as `forecast_backlog` of each, in less time; with
    `binding` also the easings.
    `kept` as in `forecast_data`.
    """
    known = [one for one in site.backlogs if set(WAYS[one.flow]) <= set(paths)]
    if not known:
        return {}
    case = backlog_case(
        site, known, 0, link, paths, seed=seed, start=start, start_h=start_h, kept=kept
    )
    days = case.all_days()
    return {
        one.name: _forecast(
            replace(case, own=index), site, days[:, index], (start, start_h), seed,
            binding=binding, prices=binding,
        )
        for index, one in enumerate(known)
    }  # fmt: skip


def _forecast(
    case: Case,
    site: Site,
    days: "NDArray[np.float64]",
    clock: tuple[date | None, float],
    seed: int,
    *,
    binding: bool,
    prices: bool,
) -> BacklogForecast:
    """What `case` says of the backlog that is asked about."""
    start, start_h = clock
    backlog = case.waiting[case.own].backlog
    refused = refused_text(backlog, site.path)
    binding_frac: Mapping[str, float] = {"not asked": 1.0}
    if refused:
        binding_frac = {"path limit": 1.0}
    elif binding:
        binding_frac = binding_shares(case, days)
    gains: tuple[Easing, ...] = ()
    if prices:
        gains = easings(case, site, days, start=start, start_h=start_h, seed=seed)
    return BacklogForecast(
        backlog=backlog,
        days=Forecast(draws=days, unit="days", world=case.world),
        binding=max(binding_frac, key=lambda name: binding_frac[name]),
        binding_frac=binding_frac,
        by_deadline=_in_time(case, days, start, start_h),
        refused=refused,
        start=start,
        start_h=start_h,
        why_never=why_never(case, days),
        easings=gains,
        assumed=backlog_assumed(site, start),
    )


def _in_time(
    case: Case, days: "NDArray[np.float64]", start: date | None, start_h: float
) -> Chance | None:
    """Chance that it is done by the end of its deadline's day, sure as the link is known."""
    deadline = case.waiting[case.own].backlog.deadline
    if deadline is None or start is None:
        return None
    left = (deadline - start).days + 1 - start_h / HOURS_PER_DAY
    return chance_of(days <= left, case.world)


def paths_for(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    *,
    seed: int = 0,
    n_draws: int = N_DRAWS,
    n_worlds: int = 20,
    start_h: float = 0.0,
) -> Mapping[str, CapacityPaths]:
    """Futures of what `backlog` crosses, and of what others cross as far as it was measured."""
    own = WAYS[backlog.flow]
    theirs = {way for other in site.backlogs for way in WAYS[other.flow]} - set(own)
    paths = dict(
        backlog_paths(link, own, seed=seed, n_draws=n_draws, n_worlds=n_worlds, start_h=start_h)
    )
    for way in sorted(theirs):
        try:
            found = backlog_paths(
                link, (way,), seed=seed, n_draws=n_draws, n_worlds=n_worlds, start_h=start_h
            )
        except FitError:  # never measured: nobody knows when that backlog runs
            continue
        paths |= found
    return paths
