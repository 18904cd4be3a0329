"""Options: changes with their effects on every target, as columns of the choice."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.change import Change
from linkfit.advice.measures import NOTICED
from linkfit.advice.selection import Problem
from linkfit.advice.tried import Outcome, Tried

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEAST_EFFECT = 0.002  # smaller ones may be drawing alone, and none turns a target

Measured = list[tuple[Sequence[Change], list[Outcome]]]


def evaluate_singles(
    tried: Tried, settings: Sequence[Sequence[Change]], n_singles: int
) -> Measured:
    """Each setting's levels with the evaluations made of them, the strongest level first.

    Parameters
    ----------
    settings : sequence of sequence of Change
        Levels of each setting, the most relevant setting first.
    n_singles : int
        How many single changes may be evaluated; settings beyond are left out.
    """
    before = tried.outcome(())
    measured: Measured = []
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
class Options:
    """Changes that do something, as columns of the choice."""

    changes: tuple[Change, ...]
    problem: Problem

    @classmethod
    def build(cls, before: Outcome, measured: Measured, *, keep_all: bool) -> "Options":
        """Columns of all measured levels; without `keep_all` only of those that help somewhere."""
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

    def lossless(self) -> "Options":
        """Only the changes that take no quality away."""
        keep = [i for i, change in enumerate(self.changes) if change.cost.quality_loss_frac == 0]
        problem = replace(
            self.problem,
            costs=self.problem.costs[keep],
            settings=self.problem.settings[keep],
            effects=self.problem.effects[:, keep],
        )
        return Options(changes=tuple(self.changes[i] for i in keep), problem=problem)

    @property
    def n_sets(self) -> int:
        """How many sets there are with at most one level of each setting."""
        levels = Counter(int(setting) for setting in self.problem.settings)
        return math.prod(n + 1 for n in levels.values())

    def strongest(self) -> tuple[Change, ...]:
        """Of each setting the level that brings the targets nearest, if it brings them nearer."""
        gain = np.minimum(self.problem.effects, np.maximum(self.problem.needs, 0.0)[:, None])
        total = gain.sum(axis=0)
        best: dict[int, int] = {}
        for index, setting in enumerate(self.problem.settings):
            if total[index] > max(0.0, total[best[setting]] if setting in best else 0.0):
                best[int(setting)] = index
        return self.picked(sorted(best.values()))

    def picked(self, chosen: Sequence[int]) -> tuple[Change, ...]:
        """The changes of some columns."""
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
