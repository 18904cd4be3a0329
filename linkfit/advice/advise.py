"""advise: the main job. Which services fit, which changes make the rest fit, at what cost."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

from linkfit.advice.cautions import cautions
from linkfit.advice.change import Change
from linkfit.advice.changes import candidate_changes
from linkfit.advice.link_rates import link_rates
from linkfit.advice.measures import Measure
from linkfit.advice.reasons import Gain, gains, hindrance, reason
from linkfit.advice.search import N_EVALUATIONS, Outcome, SearchResult, search_changes
from linkfit.advice.verdict import service_verdict
from linkfit.forecast.outcomes import Evaluation
from linkfit.link.model import LinkModel
from linkfit.site.model import Site


class Evaluator(Protocol):
    """Site, link and seed to all forecasts; the same seed must give common random numbers."""

    def __call__(self, site: Site, link: LinkModel, *, seed: int) -> Evaluation:
        """All forecasts of `site` on `link`."""


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
    exhausted : bool
        False: the evaluations ran out before the search was done.
    gap_frac : float
        Largest relative gap that the solver left open.
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
    reasons: tuple[str, ...]
    cautions: tuple[str, ...]
    exhausted: bool
    gap_frac: float
    n_evaluations: int


def advise(
    site: Site,
    link: LinkModel,
    *,
    seed: int = 0,
    evaluator: Evaluator,
    n_evaluations: int = N_EVALUATIONS,
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
    evaluator : callable
        Makes the forecasts.
    n_evaluations : int
        How many sites may be evaluated in all.

    Notes
    -----
    Never guesses: every number in the result comes from a full evaluation of an edited site.
    """

    def evaluate_site(edited: Site) -> Evaluation:
        return evaluator(edited, link, seed=seed)

    changes = candidate_changes(site, link_rates(link, seed))
    found = search_changes(site, changes, evaluate_site, n_evaluations=n_evaluations)
    return _advice(site, seed, found)


def _advice(site: Site, seed: int, found: SearchResult) -> Advice:
    before, best = found.before, found.best
    outcomes = _ordered(found)
    by_name = {outcome.change.name: outcome.gains for outcome in outcomes}
    verdicts = {
        service.name: service_verdict(service.name, before.evaluation, best.evaluation)
        for service in site.services
    }
    missed = sorted((m for m in best.measures if not m.met), key=lambda m: -m.shortfall)
    return Advice(
        seed=seed,
        before=before.evaluation,
        after=best.evaluation,
        measures_before=before.measures,
        measures_after=best.measures,
        chosen=best.changes,
        outcomes=outcomes,
        verdicts=MappingProxyType(verdicts),
        feasible=best.feasible,
        in_the_way=tuple(hindrance(measure) for measure in missed),
        reasons=tuple(reason(change, by_name[change.name]) for change in best.changes),
        cautions=cautions(site),
        exhausted=found.exhausted,
        gap_frac=found.gap_frac,
        n_evaluations=found.n_evaluations,
    )


def _ordered(found: SearchResult) -> tuple[ChangeOutcome, ...]:
    """Chosen changes first, then those that bring the targets nearest, then by name."""

    def rank(outcome: Outcome) -> tuple[bool, float, float, str]:
        gained = found.before.shortfall - outcome.shortfall
        moved = sum(gain.weight if gain.better else -gain.weight
                    for gain in gains(found.before.evaluation, outcome.evaluation))  # fmt: skip
        change = outcome.changes[0]
        return change not in found.best.changes, -gained, -moved, change.name

    return tuple(
        ChangeOutcome(
            change=outcome.changes[0],
            gains=gains(found.before.evaluation, outcome.evaluation),
            chosen=outcome.changes[0] in found.best.changes,
        )
        for outcome in sorted(found.singles, key=rank)
    )
