"""What each small easing of what holds a backlog back would save: shadow prices, re-run."""

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.backlog_case import open_parts
from linkfit.forecast.constraints import Case
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import Easing
from linkfit.site.model import Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

EXTRA_H = 1.0
EXTRA_CAP_BYTES = 10e9
EXTRA_BPS = 1e6


def easings(
    case: Case,
    site: Site,
    days: "NDArray[np.float64]",
    *,
    start: date | None,
    start_h: float,
    seed: int,
) -> tuple[Easing, ...]:
    """Days saved by each small easing alone, over the same futures; most first.

    Parameters
    ----------
    case : Case
        The backlog as it is.
    days : array, shape (d,)
        Its days, as it is. [days]

    Notes
    -----
    Every easing is a full run with the same draws (common random numbers), so that a difference
    comes from the easing. A future that only the easing ends counts as infinitely much sooner.
    """
    found = [
        _easing(case, eased, what, constraint, days)
        for what, constraint, eased in _eased_cases(case, site, start, start_h, seed)
    ]
    return tuple(sorted(found, key=lambda one: -float(one.sooner.quantile(0.5))))


def _easing(
    case: Case, eased: Case, what: str, constraint: str, days: "NDArray[np.float64]"
) -> Easing:
    after = eased.days()
    with np.errstate(invalid="ignore"):
        sooner = np.where(np.isinf(days) & np.isinf(after), 0.0, days - after)
    return Easing(
        what=what,
        constraint=constraint,
        sooner=Forecast(draws=sooner, unit="days", world=case.world),
        days=Forecast(draws=after, unit="days", world=case.world),
    )


def _eased_cases(
    case: Case, site: Site, start: date | None, start_h: float, seed: int
) -> list[tuple[str, str, Case]]:
    """What is eased, which constraint that is, and the case with it."""
    own = case.waiting[case.own]
    backlog = own.backlog
    found: list[tuple[str, str, Case]] = []
    present = case.present()
    if "data plan" in present:
        more = case.edited(cap_bytes=case.cap_bytes + EXTRA_CAP_BYTES)
        is_tethered = site.plan.tether_bytes == site.plan.cap_bytes
        what = "10 GB more for a hotspot's clients" if is_tethered else "10 GB more plan"
        found.append((what, "data plan", more))
    if "hours" in present:
        found.append(("one more hour up a day", "hours", _longer(case, site, start, start_h, seed)))
    if "per-item cost" in present:
        half = case.with_own(backlog=replace(backlog, per_item_s=backlog.per_item_s / 2))
        found.append(("per-item cost halved", "per-item cost", half))
    if "rate limit" in present and backlog.rate_limit_bps is not None:
        wide = replace(backlog, rate_limit_bps=backlog.rate_limit_bps + EXTRA_BPS)
        found.append(("1 Mbit/s more rate limit", "rate limit", case.with_own(backlog=wide)))
    if "path limit" in present:
        found.append(("transfers that resume", "path limit", case.eased("path limit")))
    if "other backlogs" in present:
        found.append(("no other backlog", "other backlogs", case.eased("other backlogs")))
    for way in case.ways():
        faster = np.where(case.rate_bps[way] > 0, case.rate_bps[way] + EXTRA_BPS, 0.0)
        wider = case.edited(rate_bps={**case.rate_bps, way: faster})
        found.append((f"1 Mbit/s more {way}", "rate", wider))
    return found


def _longer(case: Case, site: Site, start: date | None, start_h: float, seed: int) -> Case:
    """The case with days that are an hour longer, for the server and for its own window."""
    backlogs = [one.backlog for one in case.waiting]
    up_frac, opened = open_parts(
        site, backlogs, start=start, start_h=start_h, seed=seed, world=case.world,
        extra_h=EXTRA_H,
    )  # fmt: skip
    waiting = list(case.waiting)
    waiting[case.own] = replace(waiting[case.own], open_frac=opened[case.own])
    return case.edited(up_frac=up_frac, waiting=tuple(waiting))
