"""Which settings are worth an evaluation: those that touch what misses its target, then bytes.

A ranking of what to evaluate first, from mean bytes alone: nothing of it is ever shown.
"""

from collections.abc import Container, Mapping, Sequence

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
    site, used = evaluation.site, cause_bytes(evaluation.data)
    now_bytes_per_day = plan_bytes_per_day(site)
    grouped: dict[str, list[Change]] = {}
    for change in changes:
        grouped.setdefault(change.setting, []).append(change)
    ranked = []
    for setting, levels in grouped.items():
        strongest = max(levels, key=lambda change: change.strength_frac)
        saved = saved_share(strongest, site, now_bytes_per_day)
        rank = _rank(strongest, unmet, saved, used)
        if rank >= LEAST_RANK:
            ranked.append((-rank, setting, levels))
    ranked.sort(key=lambda entry: entry[:2])
    if not unmet:
        ranked = ranked[:N_WITHOUT_NEED]
    return [levels for _, _, levels in ranked]


def _rank(
    change: Change, unmet: Sequence[Measure], saved_frac: float, used_bytes: Mapping[str, float]
) -> float:
    if change.setting in SETTINGS:
        return _OWN_TASK if any(serves(change.setting, measure) for measure in unmet) else 0.0
    tasks = [measure.key.removeprefix("task ") for measure in unmet if measure.key != "data plan"]
    services = {measure.service for measure in unmet} - {""}
    overrun = len(tasks) < len(unmet)
    rank = saved_frac * (_SAVED_OF_OVERRUN if overrun else 1.0)
    if tasks:
        rank += bytes_share(change, used_bytes)
    if any(change.setting.startswith(f"{name}: ") for name in tasks):
        rank += _OWN_TASK
    elif change.service in services:
        rank += _OWN_SERVICE
    return rank


def saved_share(change: Change, site: Site, now_bytes_per_day: float) -> float:
    """Share of `now_bytes_per_day` of the site that a change takes away; 0 if it takes none."""
    if now_bytes_per_day <= 0:
        return 0.0
    edited = change.apply(site)
    left = set(range(len(site.services)))
    if (edited.path, edited.hours, edited.plan) == (site.path, site.hours, site.plan):
        pairs = zip(site.services, edited.services, strict=True)
        left = {index for index, (old, new) in enumerate(pairs) if old is not new}
    saved = plan_bytes_per_day(site, left) - plan_bytes_per_day(edited, left)
    return max(saved / now_bytes_per_day, 0.0)


def plan_bytes_per_day(site: Site, of: Container[int] | None = None) -> float:
    """Mean bytes a day that the plan counts; backlogs as if spread over a month. [bytes/day]

    Services by their index `of`, all if not given.
    """
    counted = site.plan.counted
    people = sum(
        service_bytes_per_day(site, service, counted)
        for index, service in enumerate(site.services)
        if of is None or index in of
    )
    machines = sum(
        cause.bytes_per_day * background_share(cause, counted) for cause in site.background
    )
    heaps = sum(heap.n_items * heap.size.mean_bytes for heap in site.backlogs)
    return people + machines + heaps / DAYS_PER_MONTH


def cause_bytes(data: DataForecast) -> dict[str, float]:
    """Median of a cycle's bytes by service; by cause where no service is behind it. [bytes]"""
    found: dict[str, float] = {}
    for entry in data.ledger:
        name = entry.service or entry.cause
        found[name] = found.get(name, 0.0) + float(entry.use.quantile(0.5))
    return found


def bytes_share(change: Change, used_bytes: Mapping[str, float]) -> float:
    """Share of `cause_bytes` that the change's service or cause uses; 1 for the whole site."""
    if change.service == "":
        return 1.0
    total = sum(used_bytes.values())
    # the ledger calls a backlog "backlog: NAME"
    own = sum(used_bytes.get(name, 0.0) for name in (change.service, f"backlog: {change.service}"))
    return own / total if total > 0 else 0.0
