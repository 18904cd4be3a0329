"""The cheapest set of changes that meets all targets, found by few full re-evaluations.

Effects of single changes on the margins of the targets (measures.py) are taken to add, which
makes the choice a small mixed-integer program; its answer is always confirmed by evaluating the
edited site in full, and corrected where the sum was wrong. Nothing shown was only guessed.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.advice.change import Change, apply_all
from linkfit.advice.measures import NOTICED, Measure, target_measures, total_shortfall
from linkfit.advice.relevance import by_relevance
from linkfit.advice.selection import Problem, Selection, cheapest_selection, closest_selection
from linkfit.forecast.outcomes import Evaluation
from linkfit.site.model import Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

Evaluate = Callable[[Site], Evaluation]
Judge = Callable[[Evaluation], tuple[Measure, ...]]
N_EVALUATIONS = 24
LEAST_EFFECT = 0.002  # smaller ones may be drawing alone, and none turns a target
SINGLES_FRAC = 0.6  # of the evaluations may go to single changes, the rest confirms sets
# a cheaper set predicted to miss by more than this is not worth an evaluation
TRUSTED_SHORTFALL = 0.3


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
    def feasible(self) -> bool:
        """Is every target met?"""
        return all(measure.met for measure in self.measures)


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchResult:
    """What the search found.

    Parameters
    ----------
    before : Outcome
        The site as it is.
    singles : tuple of Outcome
        Single changes, each evaluated alone.
    best : Outcome
        The cheapest set that meets all targets; if none was found, the one closest to them.
    exhausted : bool
        False: the evaluations ran out before the search was done, so a cheaper or closer set
        may exist.
    gap_frac : float
        Largest relative gap that the solver left open in any choice.
    """

    before: Outcome
    singles: tuple[Outcome, ...]
    best: Outcome
    exhausted: bool
    gap_frac: float
    n_evaluations: int


class _Tried:
    """Evaluates sets of changes, each once, and counts; the only place that evaluates."""

    def __init__(self, site: Site, evaluate: Evaluate, judge: Judge, n_evaluations: int) -> None:
        self.site, self.evaluate, self.judge = site, evaluate, judge
        self.n_evaluations = n_evaluations
        self.outcomes: dict[frozenset[str], Outcome] = {}
        self.confirmed: set[frozenset[str]] = set()

    @property
    def n_left(self) -> int:
        return self.n_evaluations - len(self.outcomes)

    def outcome(self, changes: Sequence[Change]) -> Outcome:
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
        return frozenset(change.name for change in outcome.changes) in self.confirmed

    def knows(self, changes: Sequence[Change]) -> bool:
        return frozenset(change.name for change in changes) in self.outcomes

    @property
    def best(self) -> Outcome:
        """Cheapest of those that meet all targets, else the closest, of equals the cheapest."""
        fitting = [outcome for outcome in self.outcomes.values() if outcome.feasible]
        if fitting:
            return min(fitting, key=lambda outcome: (outcome.cost, len(outcome.changes)))
        # shortfalls nearer than what drawing alone moves are equal, so that cost decides
        least = min(outcome.shortfall for outcome in self.outcomes.values())
        near = [o for o in self.outcomes.values() if o.shortfall <= least + NOTICED]
        return min(near, key=lambda outcome: (outcome.cost, len(outcome.changes)))


def search_changes(
    site: Site,
    changes: Sequence[Change],
    evaluate: Evaluate,
    *,
    confirm: Evaluate | None = None,
    judge: Judge = target_measures,
    n_evaluations: int = N_EVALUATIONS,
    thorough: bool = False,
) -> SearchResult:
    """Evaluate changes alone, then find the cheapest set of them that meets every target.

    Parameters
    ----------
    site : Site
        As it is.
    changes : sequence of Change
        To choose from, at most one of each setting.
    evaluate : callable
        Site to Evaluation; must use the same seed each time (common random numbers), so that a
        difference between two sites comes from the change, not from the draw.
    confirm : callable, optional
        An exact and slower `evaluate`, for sets that are about to be chosen; a set that it
        refuses is not, and the search goes on.
    judge : callable
        Evaluation to its targets, always the same ones in the same order.
    n_evaluations : int
        How often `evaluate` may be called, >= 2; single changes of the chosen set that were
        not evaluated alone come on top.
    thorough : bool
        Evaluate every set that could be better while evaluations last, also those predicted to
        miss, which proves the answer where changes are few.

    Notes
    -----
    Of each setting the strongest level is evaluated first; levels in between enter the choice
    with the same share of its effect as their `strength_frac`, and are evaluated if chosen.
    """
    tried = _Tried(site, evaluate, judge, count("n_evaluations", n_evaluations, least=2))
    before = tried.outcome(())
    n_singles = max(1, int(SINGLES_FRAC * n_evaluations))
    measured = _singles(tried, by_relevance(changes, before.evaluation, before.measures), n_singles)
    search = _Search(tried, _Options.build(before, measured, keep_all=thorough), thorough)
    while True:
        search.run()
        if confirm is None or tried.is_confirmed(tried.best):
            break
        tried.confirm(tried.best, confirm)
    best = tried.best
    for change in best.changes:  # what is shown of a chosen change is its own evaluation
        tried.outcome((change,))
    return SearchResult(
        before=before,
        singles=tuple(o for o in tried.outcomes.values() if len(o.changes) == 1),
        best=best,
        exhausted=search.exhausted,
        gap_frac=search.gap_frac,
        n_evaluations=len(tried.outcomes),
    )


def _singles(
    tried: _Tried, settings: Sequence[Sequence[Change]], n_singles: int
) -> list[tuple[Sequence[Change], list[Outcome]]]:
    """Each setting's levels with the evaluations made of them, the strongest first."""
    before = tried.outcome(())
    measured: list[tuple[Sequence[Change], list[Outcome]]] = []
    for levels in settings:
        if len(tried.outcomes) > n_singles:
            break
        ordered = sorted(levels, key=lambda change: change.strength_frac)
        found = [tried.outcome((ordered[-1],))]
        # where the strongest level harms something, a weaker one may be the better
        harms = bool(np.any(found[0].margins < before.margins - NOTICED))
        if harms and len(ordered) > 1 and len(tried.outcomes) <= n_singles:
            found.append(tried.outcome((ordered[0],)))
        measured.append((ordered, found))
    return measured


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options:
    """Changes that do something, as columns of the choice."""

    changes: tuple[Change, ...]
    problem: Problem

    @classmethod
    def build(
        cls,
        before: Outcome,
        measured: Sequence[tuple[Sequence[Change], list[Outcome]]],
        *,
        keep_all: bool,
    ) -> "_Options":
        changes: list[Change] = []
        columns: list[NDArray[np.float64]] = []
        numbers: list[int] = []
        for number, (levels, outcomes) in enumerate(measured):
            for change in levels:
                effect = _effect(change, outcomes, before)
                if keep_all or np.any(effect > 0):
                    changes.append(change)
                    columns.append(effect)
                    numbers.append(number)
        effects = np.array(columns).T if columns else np.zeros((len(before.measures), 0))
        problem = Problem(
            costs=np.array([change.cost.points for change in changes]),
            settings=np.array(numbers, dtype=np.int64),
            effects=effects,
            needs=-before.margins,
        )
        return cls(changes=tuple(changes), problem=problem)

    def picked(self, chosen: Sequence[int]) -> tuple[Change, ...]:
        return tuple(self.changes[index] for index in chosen)

    def indices(self, changes: Sequence[Change]) -> tuple[int, ...] | None:
        """Columns of `changes`; None if one of them is no column."""
        known = {change.name: index for index, change in enumerate(self.changes)}
        found = [known.get(change.name) for change in changes]
        return None if None in found else tuple(index for index in found if index is not None)


def _effect(change: Change, outcomes: Sequence[Outcome], before: Outcome) -> "NDArray[np.float64]":
    """Margins a change adds, shape (m,): as evaluated, else in proportion to its strength."""
    points = sorted(((o.changes[0].strength_frac, o.margins - before.margins) for o in outcomes),
                    key=lambda point: point[0])  # fmt: skip
    strengths = np.array([0.0] + [strength for strength, _ in points])
    effects = np.vstack([np.zeros(before.margins.size)] + [effect for _, effect in points])
    added = np.array([np.interp(change.strength_frac, strengths, row) for row in effects.T])
    return np.where(np.abs(added) < LEAST_EFFECT, 0.0, added)


class _Search:
    """Choose by the sum of effects, evaluate, correct, until confirmed or out of evaluations."""

    def __init__(self, tried: _Tried, options: _Options, thorough: bool) -> None:
        self.tried, self.options, self.thorough = tried, options, thorough
        self.corrected = options.problem
        self.exhausted, self.gap_frac = False, 0.0

    @property
    def excluded(self) -> list[tuple[int, ...]]:
        """Sets already evaluated, as columns."""
        found = (self.options.indices(o.changes) for o in self.tried.outcomes.values())
        return [choice for choice in found if choice is not None]

    def run(self) -> None:
        """Find a set that meets all targets, then try what is cheaper."""
        while self.tried.n_left > 0:
            step = self._improve if self.tried.best.feasible else self._approach
            if not step():
                self.exhausted = True
                return

    def _approach(self) -> bool:
        """Evaluate the next set on the way to the targets; False if none promises more."""
        selection = cheapest_selection(self.corrected, self.excluded)
        if selection is None:
            around_best = self._exact_at(self.tried.best)
            selection = cheapest_selection(around_best, self.excluded)
            if selection is None:
                selection = closest_selection(around_best, self.excluded)
        if selection is None:
            return False
        promises_more = selection.shortfall < self.tried.best.shortfall - LEAST_EFFECT
        if not (promises_more or self.thorough):
            return False
        self._evaluate(selection)
        return True

    def _exact_at(self, best: Outcome) -> Problem:
        """The problem with needs moved so that the sum is right for `best` as evaluated.

        It finds sets next to `best` that the sum, once corrected for promising too much, holds
        to be out of reach.
        """
        problem = self.options.problem
        columns = self.options.indices(best.changes)
        if columns is None:  # a chosen change that does nothing alone has no column
            return problem
        needs = problem.effects[:, list(columns)].sum(axis=1) - best.margins
        return replace(problem, needs=needs)

    def _improve(self) -> bool:
        """Evaluate a cheaper set that may still meet all targets; False if there is none."""
        best = self.tried.best
        if self._drop_one(best):
            return True
        selection = closest_selection(self.options.problem, self.excluded, best.cost)
        if selection is None:
            return False
        if selection.shortfall > TRUSTED_SHORTFALL and not self.thorough:
            return False
        self._evaluate(selection)
        return True

    def _drop_one(self, best: Outcome) -> bool:
        """Evaluate `best` without one change that it may not need, the dearest first."""
        for change in sorted(best.changes, key=lambda change: -change.cost.points):
            rest = tuple(other for other in best.changes if other is not change)
            index = self.options.indices((change,))
            if index is None or self.tried.knows(rest):
                continue
            margins = best.margins - self.options.problem.effects[:, index[0]]
            if np.maximum(-margins, 0.0).sum() <= TRUSTED_SHORTFALL:
                self.tried.outcome(rest)
                return True
        return False

    def _evaluate(self, selection: Selection) -> None:
        """Evaluate a set and ask more of the targets on which the sum promised too much."""
        self.gap_frac = max(self.gap_frac, selection.gap_frac)
        outcome = self.tried.outcome(self.options.picked(selection.chosen))
        problem = self.corrected
        summed = problem.effects[:, list(selection.chosen)].sum(axis=1) - problem.needs
        promised_too_much = np.where(outcome.margins < 0, summed - outcome.margins, 0.0)
        needs = problem.needs + np.maximum(promised_too_much, 0.0)
        self.corrected = replace(problem, needs=needs)
