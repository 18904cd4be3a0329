"""The cheapest set of changes that meets all targets, found by few full re-evaluations.

Effects of single changes on the margins of the targets (measures.py) are taken to add, which
makes the choice a small mixed-integer program; its answer is always confirmed by evaluating the
edited site in full, and corrected where the sum was wrong. Nothing shown was only guessed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.advice.change import Change
from linkfit.advice.measures import NOTICED, target_measures
from linkfit.advice.options import LEAST_EFFECT, Options, evaluate_singles
from linkfit.advice.relevance import by_relevance
from linkfit.advice.selection import (
    Problem,
    Selection,
    SolveCutShortError,
    cheapest_meeting,
    cheapest_selection,
    closest_selection,
)
from linkfit.advice.tried import Evaluate, Judge, Outcome, Tried
from linkfit.site.model import Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

N_EVALUATIONS = 24
SINGLES_FRAC = 0.6  # of the evaluations may go to single changes, the rest confirms sets
# a cheaper set predicted to miss by more than this is not worth an evaluation
TRUSTED_SHORTFALL = 0.3


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
    lossless : Outcome
        The same among sets that take no quality away.
    front : tuple of Outcome
        Sets that no evaluated one beats in both cost and targets met, cheapest first; with
        `n_more` each of them confirmed.
    exhausted, lossless_exhausted : bool
        False: the evaluations ran out before the search was done, so a cheaper or closer set
        may exist.
    gap_frac : float
        Largest relative gap that the solver left open in any choice.
    n_cut_short : int
        Choices for which the solver ran out of time.
    """

    before: Outcome
    singles: tuple[Outcome, ...]
    best: Outcome
    lossless: Outcome
    front: tuple[Outcome, ...]
    exhausted: bool
    lossless_exhausted: bool
    gap_frac: float
    n_cut_short: int
    n_evaluations: int


def search_changes(
    site: Site,
    changes: Sequence[Change],
    evaluate: Evaluate,
    *,
    confirm: Evaluate | None = None,
    judge: Judge = target_measures,
    n_evaluations: int = N_EVALUATIONS,
    n_more: int = 0,
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
        An exact and slower `evaluate`, for sets that are about to be chosen or shown; a set that
        it refuses is not, and the search goes on.
    judge : callable
        Evaluation to its targets, always the same ones in the same order.
    n_evaluations : int
        How often `evaluate` may be called, >= 2; single changes of the chosen set that were
        not evaluated alone come on top.
    n_more : int
        How many more may go to the best set that takes no quality away, and as many again to
        the front; with 0 both come from what was evaluated anyway.
    thorough : bool
        Evaluate every set that could be better while evaluations last, also those predicted to
        miss, which proves the answers where changes are few.

    Notes
    -----
    Of each setting the strongest level is evaluated first; levels in between enter the choice
    with the same share of its effect as their `strength_frac`, and are evaluated if chosen.
    """
    tried = Tried(site, evaluate, judge, count("n_evaluations", n_evaluations, least=2))
    before = tried.outcome(())
    n_singles = max(1, int(SINGLES_FRAC * n_evaluations))
    ranked = by_relevance(changes, before.evaluation, before.measures)
    options = Options.build(
        before, evaluate_singles(tried, ranked, n_singles), keep_all=thorough
    )  # fmt: skip
    thorough = thorough or options.n_sets <= n_evaluations  # all of them can be evaluated
    search = _Search(tried, options, thorough=thorough)
    search.run_confirmed(confirm)
    lossless = _Search(tried, options.lossless(), thorough=thorough, loss_allowed=False)
    if search.best.loses_quality:
        tried.allow(n_more)
        lossless.run_confirmed(confirm if n_more else None)
        search.repair(confirm)
        if not search.best.feasible:  # what is next to a closer set found there
            search.run_confirmed(confirm)
    else:  # the cheapest of all is also the cheapest of these
        lossless.exhausted = search.exhausted
    tried.allow(n_more)
    search.fill_front()
    search.repair(confirm, front=n_more > 0)
    # what is shown of a chosen change is its own evaluation, which may stand on the front as well
    while any(not tried.knows((change,)) for change in _shown(search, lossless, n_more)):
        for change in _shown(search, lossless, n_more):
            tried.outcome((change,))
        search.repair(confirm, front=n_more > 0)
    return SearchResult(
        before=before,
        singles=tuple(o for o in tried.outcomes.values() if len(o.changes) == 1),
        best=search.best,
        lossless=lossless.best,
        front=_up_to(tried.front(), search.best),
        exhausted=search.exhausted,
        lossless_exhausted=lossless.exhausted,
        gap_frac=max(search.gap_frac, lossless.gap_frac),
        n_cut_short=search.n_cut_short + lossless.n_cut_short,
        n_evaluations=len(tried.outcomes),
    )


def _shown(search: "_Search", lossless: "_Search", n_more: int) -> tuple[Change, ...]:
    """Changes of the answers that are told one by one."""
    return search.best.changes + (lossless.best.changes if n_more else ())


def _up_to(front: tuple[Outcome, ...], best: Outcome) -> tuple[Outcome, ...]:
    """`front` without what claims to beat the confirmed `best`, which ends it if it fits."""
    if not best.feasible:
        return front
    return (*(o for o in front if o.n_met < best.n_met and o.cost < best.cost), best)


class _Search:
    """Choose by the sum of effects, evaluate, correct, until confirmed or out of evaluations."""

    def __init__(
        self, tried: Tried, options: Options, *, thorough: bool, loss_allowed: bool = True
    ) -> None:
        self.tried, self.options, self.thorough = tried, options, thorough
        self.loss_allowed = loss_allowed
        self.corrected = options.problem
        self.around: tuple[Outcome, Problem] | None = None  # the sum that is right at an outcome
        self.exhausted, self.gap_frac, self.n_cut_short = False, 0.0, 0

    @property
    def best(self) -> Outcome:
        """The best of the sets that this search may choose from."""
        return self.tried.best(lambda outcome: self.loss_allowed or not outcome.loses_quality)

    @property
    def excluded(self) -> list[tuple[int, ...]]:
        """Sets already evaluated, as columns."""
        found = (self.options.indices(o.changes) for o in self.tried.outcomes.values())
        return [choice for choice in found if choice is not None]

    def run_confirmed(self, confirm: Evaluate | None) -> None:
        """Search until the best set is one that the exact evaluation agrees with."""
        while True:
            self._run()
            if confirm is None or self.tried.is_confirmed(self.best):
                return
            self.tried.confirm(self.best, confirm)

    def repair(self, confirm: Evaluate | None, *, front: bool = False) -> None:
        """Confirm what is shown as best, and the `front`, also where another search found it."""
        while confirm is not None and (doubtful := self._unconfirmed(front=front)):
            self.tried.confirm(doubtful[0], confirm)

    def _unconfirmed(self, *, front: bool) -> list[Outcome]:
        """The best and, where none fits, the set that meets most targets, unless confirmed."""
        shown = [self.best] if self.best.feasible else [self.best, self.tried.front()[-1]]
        if front:
            shown += _up_to(self.tried.front(), self.best)
        return [outcome for outcome in shown if not self.tried.is_confirmed(outcome)]

    def _run(self) -> None:
        """Find a set that meets all targets, then try what is cheaper."""
        while self.tried.n_left > 0:
            try:
                found = self._improve() if self.best.feasible else self._approach()
            except SolveCutShortError:
                self.n_cut_short += 1
                return
            if not found:
                self.exhausted = True
                return

    def fill_front(self) -> None:
        """For each number of targets that some set meets, but all, look for a cheaper set."""
        problem = self.options.problem
        # the cheapest that meets all is known, the cheapest that meets most of them is not
        ends = self.best.n_met if self.best.feasible else self.tried.front()[-1].n_met + 1
        for n_met in range(self.tried.outcome(()).n_met + 1, ends):
            while self.tried.n_left > 0:
                known = [o.cost for o in self.tried.outcomes.values() if o.n_met >= n_met]
                try:
                    selection = cheapest_meeting(problem, n_met, self.excluded, min(known))
                except SolveCutShortError:
                    self.n_cut_short += 1
                    break
                if selection is None:
                    break
                problem = self._asked_more(problem, selection, self._outcome(selection))

    def _approach(self) -> bool:
        """Evaluate the next set on the way to the targets; False if none promises more."""
        if self.around is None or self.around[0] is not self.best:
            self.around = (self.best, self._exact_at(self.best))
        best, around_best = self.around
        for problem, choose in (
            (self.corrected, cheapest_selection),
            (around_best, cheapest_selection),
            (around_best, closest_selection),
        ):
            selection = choose(problem, self.excluded)
            if selection is None:
                continue
            if selection.shortfall < best.shortfall - LEAST_EFFECT or self.thorough:
                outcome = self._evaluate(selection)
                self.around = (best, self._asked_more(around_best, selection, outcome))
                return True
        return self._try_everything() or self._one_step()

    def _try_everything(self) -> bool:
        """Evaluate all that helps at its strongest, which no sum may rule out; False if tried."""
        strongest = self.options.strongest()
        if self.tried.knows(strongest):
            return False
        self.tried.outcome(strongest)
        return True

    def _one_step(self) -> bool:
        """Evaluate what promises most of all one change away from a set known to be good.

        That is the best, the front, or the best single change: where two changes spoil each
        other, sums around sets that hold both never lead to those that hold one.
        """
        found: list[tuple[float, tuple[Change, ...]]] = []
        for at in (self.best, *self.tried.front(), *self._best_single()):
            columns = self.options.indices(at.changes)
            if columns is None:
                continue
            for chosen, gain in self._neighbours(columns):
                shortfall = float(np.maximum(-(at.margins + gain), 0.0).sum())
                if shortfall < self.best.shortfall - NOTICED:
                    found.append((shortfall, self.options.picked(sorted(chosen))))
        for _, changes in sorted(found, key=lambda step: step[0]):
            if not self.tried.knows(changes):
                self.tried.outcome(changes)
                return True
        return False

    def _best_single(self) -> list[Outcome]:
        """The single change that brings the targets nearest, if there is one to choose."""
        columns = (o for o in self.tried.outcomes.values() if len(o.changes) == 1)
        known = [o for o in columns if self.options.indices(o.changes) is not None]
        return [min(known, key=lambda o: o.shortfall)] if known else []

    def _neighbours(
        self, columns: tuple[int, ...]
    ) -> "Iterator[tuple[set[int], NDArray[np.float64]]]":
        """Each set with one setting added, changed or left out, and what it adds to margins."""
        problem = self.options.problem
        for index, setting in enumerate(problem.settings):
            same = {column for column in columns if problem.settings[column] == setting}
            lost = problem.effects[:, list(same)].sum(axis=1)
            if index in same:
                yield set(columns) - same, -lost
            else:
                yield (set(columns) - same) | {index}, problem.effects[:, index] - lost

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
        best = self.best
        if self._drop_one(best):
            return True
        # the sum is right at the best set and nearly so next to it, so that is asked first
        for problem in (self._exact_at(best), self.options.problem):
            selection = closest_selection(problem, self.excluded, best.cost)
            if selection is None:
                return False
            if selection.shortfall <= TRUSTED_SHORTFALL or self.thorough:
                self._evaluate(selection)
                return True
        return False

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

    def _outcome(self, selection: Selection) -> Outcome:
        self.gap_frac = max(self.gap_frac, selection.gap_frac)
        return self.tried.outcome(self.options.picked(selection.chosen))

    def _evaluate(self, selection: Selection) -> Outcome:
        """Evaluate a set and ask more of the targets on which the sum promised too much."""
        outcome = self._outcome(selection)
        self.corrected = self._asked_more(self.corrected, selection, outcome)
        return outcome

    @staticmethod
    def _asked_more(problem: Problem, selection: Selection, outcome: Outcome) -> Problem:
        """`problem` with more asked of the targets on which the sum promised too much."""
        summed = problem.effects[:, list(selection.chosen)].sum(axis=1) - problem.needs
        promised_too_much = np.where(outcome.margins < 0, summed - outcome.margins, 0.0)
        return replace(problem, needs=problem.needs + np.maximum(promised_too_much, 0.0))
