"""Answers: sets of changes to compare, each with what it costs and which targets it meets."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum

from linkfit.advice.change import Change
from linkfit.advice.reasons import hindrance
from linkfit.advice.tried import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One set of changes.

    Parameters
    ----------
    n_met, n_targets : int
        Targets that it meets, of those that the measurements can judge.
    feasible : bool
        Does it meet all of them?
    exhausted : bool
        Was the search for it done? If not, a cheaper or closer set may exist.
    in_the_way : tuple of str
        The targets it misses, the farthest first.
    cost : float
        On the one scale by which sets are compared: `linkfit.advice.change`. [points]
    effort_h : float
        Work of all changes, once. [h]
    month_cost, once_cost : float or None
        Money a month and money once, of all changes; None: a price is not known.
        [currency of the site's prices]
    worst_loss_frac : float
        Quality that the service hit hardest loses; 0: no quality is lost anywhere.
    """

    changes: tuple[Change, ...]
    n_met: int
    n_targets: int
    feasible: bool
    exhausted: bool
    in_the_way: tuple[str, ...]
    cost: float
    effort_h: float
    month_cost: float | None
    once_cost: float | None
    worst_loss_frac: float


def answer(outcome: Outcome, *, exhausted: bool) -> Answer:
    """What `outcome` says, as an answer to compare with others."""
    known = [measure for measure in outcome.measures if measure.known]
    missed = sorted((m for m in outcome.measures if not m.met), key=lambda m: -m.shortfall)
    costs = [change.cost for change in outcome.changes]
    return Answer(
        changes=outcome.changes,
        n_met=sum(measure.met for measure in known),
        n_targets=len(known),
        feasible=outcome.feasible,
        exhausted=exhausted,
        in_the_way=tuple(hindrance(measure) for measure in missed),
        cost=outcome.cost,
        effort_h=fsum(cost.effort_h for cost in costs),
        month_cost=_total([cost.month_cost for cost in costs]),
        once_cost=_total([cost.once_cost for cost in costs]),
        worst_loss_frac=worst_loss_frac(outcome.changes),
    )


def _total(amounts: Sequence[float | None]) -> float | None:
    """Their sum; None if one of them is not known."""
    known = [amount for amount in amounts if amount is not None]
    return fsum(known) if len(known) == len(amounts) else None


def worst_loss_frac(changes: Sequence[Change]) -> float:
    """Quality lost in the service that loses most: ``1 - prod(1 - loss)`` of its changes."""
    kept: dict[str, float] = {}
    for change in changes:
        left_frac = kept.get(change.service, 1.0)
        kept[change.service] = left_frac * (1.0 - change.cost.quality_loss_frac)
    return 1.0 - min(kept.values(), default=1.0)
