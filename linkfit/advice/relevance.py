"""Which settings are worth an evaluation: those that touch what misses its target, then bytes.

A ranking of what to evaluate first, from mean bytes alone: nothing of it is ever shown.
"""

from collections.abc import Sequence

from linkfit.advice.change import Change
from linkfit.advice.measures import Measure
from linkfit.advice.offers import serves
from linkfit.advice.supply_changes import SETTINGS
from linkfit.forecast.demand import background_share, service_bytes_per_day
from linkfit.forecast.outcomes import DataForecast, Evaluation
from linkfit.site.model import Site
from linkfit.units import DAYS_PER_MONTH

N_WITHOUT_NEED = 8  # where all targets are met, so many settings are still shown, by bytes
LEAST_RANK = 0.01
_OWN_TASK, _OWN_SERVICE = 4.0, 1.0
_SAVED_OF_OVERRUN = 8.0  # half of the bytes saved is worth as much as the very task in question


def by_relevance(
    changes: Sequence[Change], evaluation: Evaluation, measures: Sequence[Measure]
) -> list[list[Change]]:
    """The levels of each setting that can matter, the most relevant setting first.

    Notes
    -----
    The rank of a setting: 4 if it is of the very task or backlog that misses its target, 1 if
    of the same service; the share of all bytes that its strongest level saves, eightfold where
    the plan is overrun; and, where a task misses its target, the share of data that the service
    behind it has, for what may make way. A purchase has 4 where what it is bought for misses its
    target, else nothing. Ranks below 0.01 are left out.
    """
    unmet = [measure for measure in measures if not measure.met]
    site, data = evaluation.site, evaluation.data
    grouped: dict[str, list[Change]] = {}
    for change in changes:
        grouped.setdefault(change.setting, []).append(change)
    ranked = []
    for setting, levels in grouped.items():
        strongest = max(levels, key=lambda change: change.strength_frac)
        rank = _rank(strongest, unmet, site, data)
        if rank >= LEAST_RANK:
            ranked.append((-rank, setting, levels))
    ranked.sort(key=lambda entry: entry[:2])
    if not unmet:
        ranked = ranked[:N_WITHOUT_NEED]
    return [levels for _, _, levels in ranked]


def _rank(change: Change, unmet: Sequence[Measure], site: Site, data: DataForecast) -> float:
    if change.setting in SETTINGS:
        return _OWN_TASK if any(serves(change.setting, measure) for measure in unmet) else 0.0
    tasks = [measure.key.removeprefix("task ") for measure in unmet if measure.key != "data plan"]
    services = {measure.service for measure in unmet} - {""}
    overrun = len(tasks) < len(unmet)
    rank = saved_share(change, site) * (_SAVED_OF_OVERRUN if overrun else 1.0)
    if tasks:
        rank += bytes_share(change, data)
    if any(change.setting.startswith(f"{name}: ") for name in tasks):
        rank += _OWN_TASK
    elif change.service in services:
        rank += _OWN_SERVICE
    return rank


def saved_share(change: Change, site: Site) -> float:
    """Share of the site's mean bytes that a change takes away; 0 if it takes none."""
    now = _bytes_per_day(site)
    return max(1.0 - _bytes_per_day(change.apply(site)) / now, 0.0) if now > 0 else 0.0


def _bytes_per_day(site: Site) -> float:
    """Mean bytes a day that the plan counts; backlogs as if spread over a month. [bytes/day]"""
    counted = site.plan.counted
    people = sum(service_bytes_per_day(site, service, counted) for service in site.services)
    machines = sum(
        cause.bytes_per_day * background_share(cause, counted) for cause in site.background
    )
    heaps = sum(heap.n_items * heap.size.mean_bytes for heap in site.backlogs)
    return people + machines + heaps / DAYS_PER_MONTH


def bytes_share(change: Change, data: DataForecast) -> float:
    """Share of a cycle's data that the change's service or cause uses; 1 for the whole site."""
    if change.service == "":
        return 1.0
    medians = [(entry, float(entry.use.quantile(0.5))) for entry in data.ledger]
    total = sum(median for _, median in medians)
    # the ledger calls a backlog "backlog: NAME" and belongs to no service
    names = (change.service, f"backlog: {change.service}")
    own = sum(m for entry, m in medians if entry.service in names or entry.cause in names)
    return own / total if total > 0 else 0.0
