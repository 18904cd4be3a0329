"""advise: the main job. Which services fit, which changes make the rest fit, at what cost."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from types import MappingProxyType
from typing import Protocol

from linkfit.advice.answers import Answer, answer
from linkfit.advice.cautions import cautions
from linkfit.advice.change import Change, apply_all
from linkfit.advice.changes import candidate_changes
from linkfit.advice.link_rates import link_rates
from linkfit.advice.measures import Measure, target_measures
from linkfit.advice.offers import does, offers
from linkfit.advice.reasons import Gain, gains, reason
from linkfit.advice.search import N_EVALUATIONS, SearchResult, search_changes
from linkfit.advice.tried import Judge, Outcome
from linkfit.advice.verdict import service_verdict
from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.outcomes import Evaluation
from linkfit.link.model import LinkModel
from linkfit.site.model import Site

N_MORE = 8
MOST_TASKS_WITH_USERS = 80  # so many take about as long as a quarter of all the rest


class SiteEvaluator(Protocol):
    """Makes all forecasts of a site; every call uses the same futures of the link."""

    def evaluate(
        self,
        site: Site,
        *,
        limits: bool = True,
        exact: bool | None = None,
        users: bool | Collection[str] | None = None,
    ) -> Evaluation:
        """All forecasts of `site`.

        Without `limits` no user limits and no throttled rate; without `exact` a task may keep
        times that it had in nearly the same company; user limits of the services `users` only.
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeOutcome:
    """One change alone: what it moves, by full re-evaluation, and whether it was chosen."""

    change: Change
    gains: tuple[Gain, ...]
    chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to change, what it brings and costs, and what stays impossible.

    Parameters
    ----------
    before, after : Evaluation
        Of the site as it is, and with all of `chosen`.
    measures_before, measures_after : tuple of Measure
        The targets of both, in the same order.
    chosen : tuple of Change
        The cheapest set found that meets all targets; if none does, the one closest to them.
    outcomes : tuple of ChangeOutcome
        Single changes, each evaluated alone: chosen ones first, then by what they gain.
    verdicts : mapping of str to str
        Service to "fits", "fits with changes", "does not fit" or "not enough data".
    feasible : bool
        Does `chosen` meet all targets?
    in_the_way : tuple of str
        The targets that `after` still misses, the farthest first; empty if feasible.
    offered : tuple of Change
        Purchases that would meet a target by themselves, but that have no price or are beyond
        what the site's prices say may be spent: among `outcomes`, never chosen.
    cheapest, quality_kept : Answer
        `chosen`, and the same among sets that take no quality away.
    front : tuple of Answer
        Sets that no other one beats in both cost and targets met, the cheapest first.
    exhausted : bool
        False: the evaluations ran out before the search was done.
    gap_frac : float
        Largest relative gap that the solver left open.
    n_cut_short : int
        Choices for which the solver ran out of time.
    """

    seed: int
    before: Evaluation
    after: Evaluation
    measures_before: tuple[Measure, ...]
    measures_after: tuple[Measure, ...]
    chosen: tuple[Change, ...]
    outcomes: tuple[ChangeOutcome, ...]
    verdicts: Mapping[str, str]
    feasible: bool
    in_the_way: tuple[str, ...]
    offered: tuple[Change, ...]
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    cheapest: Answer
    quality_kept: Answer
    front: tuple[Answer, ...]
    exhausted: bool
    gap_frac: float
    n_cut_short: int
    n_evaluations: int


def advise(
    site: Site,
    link: LinkModel,
    *,
    seed: int = 0,
    start: date | None = None,
    evaluator: SiteEvaluator | None = None,
    n_evaluations: int = N_EVALUATIONS,
    n_more: int = N_MORE,
) -> Advice:
    """Judge every service, and find the cheapest changes that make all of them fit.

    Parameters
    ----------
    site : Site
        What is asked of the link.
    link : LinkModel
        What the link is like.
    seed : int
        Of every evaluation: all candidates see the same futures of the link.
    start : date, optional
        First day of the backlogs; their deadlines are judged only with it.
    evaluator : SiteEvaluator, optional
        Makes the forecasts, with the same seed and start; `linkfit.forecast.evaluation` if not
        given.
    n_evaluations : int
        How many sites may be evaluated for the cheapest set that meets all targets.
    n_more : int
        How many more for the set that takes no quality away, and as many again for the front.

    Raises
    ------
    FitError
        If the site needs a direction of the link that was never measured.

    Notes
    -----
    Never guesses: every number in the result comes from a full evaluation of an edited site.
    """
    maker: SiteEvaluator = evaluator or Evaluator(link, seed=seed, start=start)
    judge = partial(target_measures, start=start)
    quick = partial(maker.evaluate, limits=False)
    changes = candidate_changes(site, link_rates(link, seed))
    found = search_changes(
        site,
        [change for change in changes if change.cost.is_within(site.prices)],
        quick,
        confirm=partial(maker.evaluate, limits=False, exact=True),
        judge=judge,
        n_evaluations=n_evaluations,
        n_more=n_more,
    )
    offered = offers(
        [change for change in changes if not change.cost.is_within(site.prices)],
        found.before,
        lambda change: _alone(change, quick(change.apply(site)), judge),
    )
    users = _with_users(site, found)
    return _advice(
        seed=seed,
        found=replace(found, singles=(*found.singles, *offered)),
        offered=tuple(outcome.changes[0] for outcome in offered if does(outcome)),
        before=_noted(maker.evaluate(site, users=users), users),
        after=_noted(maker.evaluate(apply_all(site, found.best.changes), users=users), users),
        judge=judge,
    )


def _alone(change: Change, evaluation: Evaluation, judge: Judge) -> Outcome:
    return Outcome(changes=(change,), evaluation=evaluation, measures=judge(evaluation))


def _with_users(site: Site, found: SearchResult) -> frozenset[str]:
    """Services whose largest numbers of users are looked for, as many as there is time for.

    First those that miss a target and those that a chosen change touches, then by their place.
    """
    missing = {m.service for o in (found.before, found.best) for m in o.measures if not m.met}
    concerned = missing | {change.service for change in found.best.changes}
    names, n_tasks = [], 0
    for service in sorted(site.services, key=lambda service: service.name not in concerned):
        n_tasks += len(service.tasks)
        if n_tasks <= MOST_TASKS_WITH_USERS:
            names.append(service.name)
    return frozenset(names)


def _noted(evaluation: Evaluation, users: Collection[str]) -> Evaluation:
    """The same, telling for which services the largest numbers of users were left out."""
    left_out = [one.name for one in evaluation.site.services if one.name not in users]
    if not left_out:
        return evaluation
    note = (
        f"for how many users each target holds was left out for {', '.join(left_out)}: the site "
        f"has more than {MOST_TASKS_WITH_USERS} tasks (linkfit users --service NAME tells it)"
    )
    return replace(evaluation, notes=(*evaluation.notes, note))


def _advice(
    *,
    seed: int,
    found: SearchResult,
    offered: tuple[Change, ...],
    before: Evaluation,
    after: Evaluation,
    judge: Judge,
) -> Advice:
    """What the search found, said in words and verdicts."""
    outcomes = _ordered(found, judge)
    by_name = {outcome.change.name: outcome.gains for outcome in outcomes}
    best = found.best
    verdicts = {
        service.name: service_verdict(service.name, before, after)
        for service in before.site.services
    }
    return Advice(
        seed=seed,
        before=before,
        after=after,
        measures_before=judge(before),
        measures_after=judge(after),
        chosen=best.changes,
        outcomes=outcomes,
        verdicts=MappingProxyType(verdicts),
        feasible=best.feasible,
        in_the_way=answer(best, exhausted=found.exhausted).in_the_way,
        offered=offered,
        reasons=tuple(reason(change, by_name[change.name]) for change in best.changes),
        cautions=cautions(before.site),
        cheapest=answer(best, exhausted=found.exhausted),
        quality_kept=answer(found.lossless, exhausted=found.lossless_exhausted),
        front=tuple(answer(outcome, exhausted=found.exhausted) for outcome in found.front),
        exhausted=found.exhausted,
        gap_frac=found.gap_frac,
        n_cut_short=found.n_cut_short,
        n_evaluations=found.n_evaluations,
    )


def _ordered(found: SearchResult, judge: Judge) -> tuple[ChangeOutcome, ...]:
    """Chosen changes first, then those that bring the targets nearest, then by name."""
    before, ranked = found.before, []
    for outcome in found.singles:
        change = outcome.changes[0]
        moved = gains(before.evaluation, outcome.evaluation, judge)
        total = sum(gain.weight if gain.better else -gain.weight for gain in moved)
        chosen = change in found.best.changes
        key = (not chosen, outcome.shortfall - before.shortfall, -total, change.name)
        ranked.append((key, ChangeOutcome(change=change, gains=moved, chosen=chosen)))
    return tuple(entry for _, entry in sorted(ranked, key=lambda pair: pair[0]))
