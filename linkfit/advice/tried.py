"""Outcome and Tried: sets of changes that were evaluated in full, each once, and counted."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.change import Change, apply_all
from linkfit.advice.measures import NOTICED, Measure, total_shortfall
from linkfit.forecast.outcomes import Evaluation
from linkfit.site.model import Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

Evaluate = Callable[[Site], Evaluation]
Judge = Callable[[Evaluation], tuple[Measure, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A set of changes with the full evaluation of the site it makes."""

    changes: tuple[Change, ...]
    evaluation: Evaluation
    measures: tuple[Measure, ...]

    @property
    def cost(self) -> float:
        """Of all changes together. [points]"""
        return math.fsum(change.cost.points for change in self.changes)

    @property
    def shortfall(self) -> float:
        """Summed over the targets, on the scale of measures.py."""
        return total_shortfall(self.measures)

    @property
    def margins(self) -> "NDArray[np.float64]":
        """Of the targets, shape (m,)."""
        return np.array([measure.margin for measure in self.measures])

    @property
    def n_met(self) -> int:
        """How many targets are met."""
        return sum(measure.met for measure in self.measures)

    @property
    def loses_quality(self) -> bool:
        """Does any of the changes take quality away?"""
        return any(change.cost.quality_loss_frac > 0 for change in self.changes)

    @property
    def feasible(self) -> bool:
        """Is every target met?"""
        return all(measure.met for measure in self.measures)


class Tried:
    """Evaluates sets of changes, each once, and counts; the only place that evaluates.

    Parameters
    ----------
    site : Site
        As it is.
    evaluate : callable
        Site to Evaluation.
    judge : callable
        Evaluation to its targets.
    n_evaluations : int
        How many sets a search may evaluate; `n_left` tells how many are left.
    """

    def __init__(self, site: Site, evaluate: Evaluate, judge: Judge, n_evaluations: int) -> None:
        self.site, self.evaluate, self.judge = site, evaluate, judge
        self.n_evaluations = n_evaluations
        self.outcomes: dict[frozenset[str], Outcome] = {}
        self.confirmed: set[frozenset[str]] = set()

    @property
    def n_left(self) -> int:
        """Evaluations that a search may still make."""
        return self.n_evaluations - len(self.outcomes)

    def allow(self, n_more: int) -> None:
        """Let the next search make `n_more` evaluations, whatever was used before."""
        self.n_evaluations = len(self.outcomes) + n_more

    def outcome(self, changes: Sequence[Change]) -> Outcome:
        """The set as evaluated, now or before."""
        key = frozenset(change.name for change in changes)
        if key not in self.outcomes:
            evaluation = self.evaluate(apply_all(self.site, tuple(changes)))
            self.outcomes[key] = Outcome(
                changes=tuple(sorted(changes, key=lambda change: change.name)),
                evaluation=evaluation,
                measures=self.judge(evaluation),
            )
        return self.outcomes[key]

    def confirm(self, outcome: Outcome, evaluate: Evaluate) -> None:
        """Replace what the search had of `outcome` by the exact `evaluate`."""
        key = frozenset(change.name for change in outcome.changes)
        evaluation = evaluate(apply_all(self.site, outcome.changes))
        exact = replace(outcome, evaluation=evaluation, measures=self.judge(evaluation))
        self.outcomes[key] = exact
        self.confirmed.add(key)

    def is_confirmed(self, outcome: Outcome) -> bool:
        """Was it evaluated exactly?"""
        return frozenset(change.name for change in outcome.changes) in self.confirmed

    def knows(self, changes: Sequence[Change]) -> bool:
        """Was the set evaluated before?"""
        return frozenset(change.name for change in changes) in self.outcomes

    def best(self, among: Callable[[Outcome], bool] = lambda _: True) -> Outcome:
        """Cheapest of those that meet all targets, else the closest, of equals the most met.

        `among` says which sets count; the site as it is must be one of them. No other set meets
        more targets than the closest for as little, unless it lies farther from all targets
        together than the site as it is.
        """
        outcomes = [outcome for outcome in self.outcomes.values() if among(outcome)]
        fitting = [outcome for outcome in outcomes if outcome.feasible]
        if fitting:
            return min(fitting, key=lambda outcome: (outcome.cost, len(outcome.changes)))
        # shortfalls nearer than what drawing alone moves are equal: targets met decide, then cost
        least = min(outcome.shortfall for outcome in outcomes)
        near = [o for o in outcomes if o.shortfall <= least + NOTICED]
        best = min(near, key=lambda o: (-o.n_met, o.cost, len(o.changes)))
        most = self.outcome(()).shortfall
        while better := [
            o
            for o in outcomes
            if o.n_met > best.n_met and o.cost <= best.cost and o.shortfall <= most
        ]:
            best = min(better, key=lambda o: (o.shortfall, o.cost, len(o.changes)))
        return best

    def front(self) -> tuple[Outcome, ...]:
        """Sets that no other one beats in cost and in targets met, cheapest first.

        Of sets that meet as many targets for the same cost the one nearest to the rest.
        """
        ordered = sorted(
            self.outcomes.values(), key=lambda o: (o.cost, -o.n_met, o.shortfall, len(o.changes))
        )
        found: list[Outcome] = []
        for outcome in ordered:
            if not found or outcome.n_met > found[-1].n_met:
                found.append(outcome)
        return tuple(found)
