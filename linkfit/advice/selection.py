"""Which changes to take when their effects add: a small mixed-integer program.

Minimise the cost of the chosen changes, at most one of each setting, so that their effects on
every target sum to at least what it needs. Solved by HiGHS through `scipy.optimize.milp`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from linkfit._checks import non_negative_array
from linkfit.errors import InputError, LinkfitError

if TYPE_CHECKING:
    from numpy.typing import NDArray

TIME_LIMIT_S = 2.0
_ROOM = 1e-6  # HiGHS holds constraints to 1e-6; what is summed here is known to 1e-2 at best
_TIME_UP = 1  # scipy.optimize.milp: iteration or time limit reached
_COST_STEP = 1e-4  # costs nearer to each other than this count as equal


class SolveCutShortError(LinkfitError):
    """The solver found nothing within its time limit; that proves nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Costs, settings, effects and needs.

    Parameters
    ----------
    costs : array, shape (n,)
        Of each change, >= 0. [points]
    settings : array of int, shape (n,)
        Changes with one number exclude each other.
    effects : array, shape (m, n)
        What each change adds to the margin of each target, on the scale of measures.py.
    needs : array, shape (m,)
        What the sum of effects must reach: minus the margin without changes.
    """

    costs: "NDArray[np.float64]"
    settings: "NDArray[np.int64]"
    effects: "NDArray[np.float64]"
    needs: "NDArray[np.float64]"

    def __post_init__(self) -> None:
        non_negative_array("costs", self.costs)
        shape = (self.needs.size, self.costs.size)
        if self.effects.shape != shape or self.settings.shape != self.costs.shape:
            raise InputError(f"effects: expected shape {shape}, got {self.effects.shape}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """Chosen columns, their cost, the summed shortfall predicted, and the solver's gap.

    `gap_frac` is 0 when the solver proved that no cheaper choice exists within its problem.
    """

    chosen: tuple[int, ...]
    cost: float
    shortfall: float
    gap_frac: float


def cheapest_selection(
    problem: Problem, excluded: Sequence[tuple[int, ...]] = (), below_cost: float | None = None
) -> Selection | None:
    """The cheapest choice predicted to meet every need; None if there is none.

    Parameters
    ----------
    problem : Problem
        What to choose from.
    excluded : sequence of tuple of int
        Choices that were tried and must not come back.
    below_cost : float, optional
        Only choices that cost less than this. [points]
    """
    n = problem.costs.size
    if n == 0:
        fits = not excluded and bool(np.all(problem.needs <= 0)) and (below_cost or 1.0) > 0
        return Selection(chosen=(), cost=0.0, shortfall=0.0, gap_frac=0.0) if fits else None
    rows = _common_rows(problem, excluded, below_cost, n_extra=0)
    rows.append((problem.effects, problem.needs + _ROOM, np.inf))
    return _solved(problem, problem.costs, rows, n_extra=0)


def closest_selection(
    problem: Problem, excluded: Sequence[tuple[int, ...]] = (), below_cost: float | None = None
) -> Selection | None:
    """The choice with the least summed shortfall, and of those the cheapest; None if all are out.

    Parameters and notes as in `cheapest_selection`; here a need may be missed.
    """
    n, m = problem.costs.size, problem.needs.size
    if n == 0:
        return None
    rows = _common_rows(problem, excluded, below_cost, n_extra=m)
    rows.append((np.hstack([problem.effects, np.eye(m)]), problem.needs + _ROOM, np.inf))
    missed = np.concatenate([np.zeros(n), np.ones(m)])
    first = _solved(problem, missed, rows, n_extra=m)
    if first is None:
        return None
    rows.append((missed[None, :], -np.inf, first.shortfall + 10 * m * _ROOM))
    price = np.concatenate([problem.costs, np.zeros(m)])
    return _solved(problem, price, rows, n_extra=m) or first


def cheapest_meeting(
    problem: Problem,
    n_met: int,
    excluded: Sequence[tuple[int, ...]] = (),
    below_cost: float | None = None,
) -> Selection | None:
    """The cheapest choice predicted to meet at least `n_met` needs, whichever; None if none does.

    Parameters and notes as in `cheapest_selection`. A need that is not met may be missed by any
    amount: its row is loosened by the most that effects can take away.
    """
    n, m = problem.costs.size, problem.needs.size
    if n == 0:
        return None
    rows = _common_rows(problem, excluded, below_cost, n_extra=m)
    needs = problem.needs + _ROOM
    loose = np.maximum(needs - np.minimum(problem.effects, 0.0).sum(axis=1), 0.0)
    # effects x + loose (1 - met) >= needs
    rows.append((np.hstack([problem.effects, -np.diag(loose)]), needs - loose, np.inf))
    is_met = np.concatenate([np.zeros(n), np.ones(m)])
    rows.append((is_met[None, :], float(n_met), np.inf))
    price = np.concatenate([problem.costs, np.zeros(m)])
    return _solved(problem, price, rows, n_extra=m, bound=1.0)


def _common_rows(
    problem: Problem, excluded: Sequence[tuple[int, ...]], below_cost: float | None, n_extra: int
) -> list[tuple[Any, Any, Any]]:
    """One level a setting, no choice that was tried, none that costs too much."""
    n = problem.costs.size
    tail = np.zeros(n_extra)
    rows: list[tuple[Any, Any, Any]] = []
    settings = np.unique(problem.settings)
    members = (problem.settings == settings[:, None]).astype(float)
    rows.append((np.hstack([members, np.zeros((settings.size, n_extra))]), -np.inf, 1.0))
    for choice in excluded:
        # at least one of it missing, or one more: sum(in) - sum(out) <= |in| - 1
        sign = -np.ones(n)
        sign[list(choice)] = 1.0
        rows.append((np.concatenate([sign, tail])[None, :], -np.inf, len(choice) - 1.0))
    if below_cost is not None:
        total = np.concatenate([problem.costs, tail])[None, :]
        rows.append((total, -np.inf, below_cost - _COST_STEP))
    return rows


def _stacked(rows: list[tuple[Any, Any, Any]]) -> LinearConstraint:
    """All rows as one constraint: the solver's wrapper takes its time for each."""
    lows, highs = (
        np.concatenate([np.broadcast_to(row[side], row[0].shape[0]) for row in rows])
        for side in (1, 2)
    )
    return LinearConstraint(np.vstack([matrix for matrix, _, _ in rows]), lows, highs)


def _solved(
    problem: Problem, objective: "NDArray[np.float64]", rows: list[tuple[Any, Any, Any]],
    n_extra: int, bound: float = np.inf,
) -> Selection | None:  # fmt: skip
    """The solution; extra columns are continuous, or yes and no where `bound` is 1.

    Raises
    ------
    SolveCutShortError
        If the time limit passed before any choice was found.
    """
    n = problem.costs.size
    extra_whole = np.full(n_extra, float(bound == 1.0))
    result = milp(
        c=objective,
        constraints=_stacked(rows),
        integrality=np.concatenate([np.ones(n), extra_whole]),
        bounds=Bounds(np.zeros(n + n_extra), np.concatenate([np.ones(n), np.full(n_extra, bound)])),
        options={"time_limit": TIME_LIMIT_S, "mip_rel_gap": 0.0},
    )
    if result.x is None and result.status == _TIME_UP:
        raise SolveCutShortError(
            f"choice of changes: expected an answer within {TIME_LIMIT_S:g} s, got none"
        )
    if result.x is None:
        return None
    taken = result.x[:n] > 0.5
    missing = problem.needs - problem.effects[:, taken].sum(axis=1)
    return Selection(
        chosen=tuple(int(i) for i in np.flatnonzero(taken)),
        cost=float(problem.costs[taken].sum()),
        shortfall=float(np.maximum(missing, 0.0).sum()),
        gap_frac=float(result.mip_gap or 0.0),
    )
