"""How far each world of a link misses the targets of a site, and which link misses them less."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.measures import LARGEST_MARGIN, SURE_LEVEL, target_measures
from linkfit.forecast.time_differences import world_quantiles

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.forecast.outcomes import Evaluation, TaskForecast

SAME = 0.1  # doublings in all: a tenth of a doubling of one time is no reason to choose
_N_DRAWS = 4000


def world_shortfalls(evaluation: "Evaluation", start: date | None) -> "NDArray[np.float64]":
    """Doublings by which a world misses the targets of the site, summed; shape (worlds,).

    Notes
    -----
    For each promised task, ``log2(p95 / target)`` of that world where it is above 0, at most 10.
    The data plan and the backlogs, whose futures are not of the same worlds, count alike in every
    world, as `target_measures` has them. What was not measured counts nothing.
    """
    tasks = [
        task
        for service in evaluation.services
        for task in service.tasks
        if task.task.must_carry and not task.unmeasured
    ]
    parts = [part for task in tasks if (part := _task_shortfalls(task)) is not None]
    n_worlds = max((part.size for part in parts), default=1)
    total = np.zeros(n_worlds)
    for part in parts:
        total += part if part.size == n_worlds else part.mean()
    for measure in target_measures(evaluation, start):
        if measure.unit != "s":
            total += measure.shortfall
    return total


def _task_shortfalls(forecast: "TaskForecast") -> "NDArray[np.float64] | None":
    """Of one task; None where it has no target."""
    if forecast.refused:
        return np.array([LARGEST_MARGIN])
    target_s = forecast.task.target_s
    if target_s is None:
        return None
    p95_s = world_quantiles(forecast.time, SURE_LEVEL)
    with np.errstate(divide="ignore"):
        return np.clip(np.log2(p95_s / target_s), 0.0, LARGEST_MARGIN)


def pair_chances(
    first_score: "NDArray[np.float64]", second_score: "NDArray[np.float64]"
) -> tuple[float, float, float]:
    """Chances that the first misses by less, that both miss alike, that the second does."""
    gap = second_score[None, :] - first_score[:, None]
    first, second = float(np.mean(gap > SAME)), float(np.mean(gap < -SAME))
    return first, 1.0 - first - second, second


def chances_of_best(scores: "Sequence[NDArray[np.float64]]", rng: "Generator") -> tuple[float, ...]:
    """Chance of each link to miss the targets least; links within `SAME` of that share it."""
    drawn = np.array([score[rng.integers(score.size, size=_N_DRAWS)] for score in scores])
    is_best = drawn <= drawn.min(axis=0) + SAME
    share = is_best / is_best.sum(axis=0)
    return tuple(float(one) for one in share.mean(axis=1))
