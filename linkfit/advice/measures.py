"""What an Evaluation is judged by: each target with its value, margin and shortfall.

Margins are on a scale on which the effects of changes roughly add. Times: base-2 logarithms of
``target / value``, since changes multiply sizes and rates. The data plan: the share of the cap
that is left, since changes take bytes away. A time twice its target and data use of twice the
cap are equally short (1).
"""

import math
from dataclasses import dataclass
from datetime import date

from linkfit.forecast.outcomes import (
    BacklogForecast,
    DataForecast,
    Evaluation,
    ServiceForecast,
    TaskForecast,
)

OVER_CAP_PROB = 0.05  # less than one overrun in twenty cycles
BY_DEADLINE_PROB = 0.95
SURE_LEVEL = 0.95
LARGEST_MARGIN = 10.0  # a factor of 1024: refused or never done counts as that
NOTICED = 0.01  # a margin that moves by less looks the same to a reader


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One target of a site and how an Evaluation stands to it.

    Parameters
    ----------
    key : str
        Same in every Evaluation of edits of one site.
    text : str
        What is measured, in plain words.
    unit : str
        "s", "bytes" or "probability".
    value, target_value : float
        What is shown: `value` should not be above `target_value` (for a probability in time: not
        below). inf: never. [unit]
    margin : float
        On a scale on which effects add; >= 0 where the target is met.
    refused : bool
        The path does not carry it at all.
    known : bool
        False: nothing was measured that tells; the margin is 0 then.
    """

    key: str
    text: str
    service: str
    unit: str
    value: float
    target_value: float
    margin: float
    known: bool = True
    refused: bool = False

    @property
    def met(self) -> bool:
        """Is the target met?"""
        return self.margin >= 0

    @property
    def shortfall(self) -> float:
        """How far from the target; 0 where it is met."""
        return max(-self.margin, 0.0)


def log_margin(target_value: float, value: float) -> float:
    """log2(target_value / value) within +-`LARGEST_MARGIN`; a value of 0 is as good as can be."""
    if value <= 0:
        return LARGEST_MARGIN
    if not math.isfinite(value):
        return -LARGEST_MARGIN
    return max(-LARGEST_MARGIN, min(LARGEST_MARGIN, math.log2(target_value / value)))


def target_measures(evaluation: Evaluation, start: date | None = None) -> tuple[Measure, ...]:
    """Every target of the site: promised tasks, the data plan, backlogs; in the site's order.

    What crosses a direction of the link that nobody measured is not `known`, and in nobody's way.

    Parameters
    ----------
    evaluation : Evaluation
        What to judge.
    start : date, optional
        First day of the backlogs, the same that `evaluation` was made with.
    """
    found = [
        _task_measure(service, task)
        for service in evaluation.services
        for task in service.tasks
        if task.task.must_carry and (task.task.target_s is not None or task.refused)
    ]
    plan = _plan_measure(evaluation.data)
    if plan is not None:
        found.append(plan)
    found += [_backlog_measure(backlog, start) for backlog in evaluation.backlogs]
    return tuple(found)


def total_shortfall(measures: tuple[Measure, ...]) -> float:
    """Sum of all shortfalls; 0 where every target is met."""
    return sum(measure.shortfall for measure in measures)


def _task_measure(service: ServiceForecast, forecast: TaskForecast) -> Measure:
    task = forecast.task
    target_s = task.target_s if task.target_s is not None else math.inf
    known = bool(forecast.refused) or not forecast.unmeasured
    p95_s = math.inf if forecast.refused else float(forecast.time.quantile(SURE_LEVEL))
    margin = -LARGEST_MARGIN if forecast.refused else log_margin(target_s, p95_s)
    return Measure(
        key=f"task {service.service.name}: {task.name}",
        text=f"{service.service.name}, {task.name}: time that 19 of 20 stay within",
        service=service.service.name,
        unit="s",
        value=p95_s,
        target_value=target_s,
        margin=margin if known else 0.0,
        known=known,
        refused=bool(forecast.refused),
    )


def _plan_measure(data: DataForecast) -> Measure | None:
    """The data plan: 95 % point of use against the cap, met where an overrun is rare enough.

    Notes
    -----
    Where unused data is carried over it is the cap that would do in 19 of 20 cycles.
    ``prob_over_cap <= 0.05`` says the same as "the 95 % point stays within the cap", but stands
    still at 1 while use falls from three caps to two; the point moves, so gains can be seen.
    """
    if data.cap_bytes is None or data.prob_over_cap is None:
        return None
    p95_bytes = float((data.cap_needed or data.use).quantile(SURE_LEVEL))
    margin = 1.0 - p95_bytes / data.cap_bytes
    rare = data.prob_over_cap <= OVER_CAP_PROB
    return Measure(
        key="data plan",
        text="data in a cycle that 19 of 20 stay within",
        service="",
        unit="bytes",
        value=p95_bytes,
        target_value=data.cap_bytes,
        margin=max(margin, 0.0) if rare else min(margin, -NOTICED),
    )


def _backlog_measure(forecast: BacklogForecast, start: date | None) -> Measure:
    """A backlog: the chance to be done by its deadline, or at all where it has none."""
    by_deadline = forecast.prob_by_deadline is not None
    if forecast.refused:
        prob = 0.0
    elif forecast.prob_by_deadline is not None:
        prob = forecast.prob_by_deadline
    else:
        prob = forecast.days.prob_within(math.nextafter(math.inf, 0.0))
    name = forecast.backlog.name
    return Measure(
        key=f"backlog {name}",
        text=f"{name}: chance to be done {'by its deadline' if by_deadline else 'at some time'}",
        service=name,
        unit="probability",
        value=prob,
        target_value=BY_DEADLINE_PROB,
        margin=0.0 if forecast.unmeasured else _backlog_margin(forecast, prob, start),
        known=not forecast.unmeasured,
    )


def _backlog_margin(forecast: BacklogForecast, prob: float, start: date | None) -> float:
    """How far the sure finish is from the deadline, in doublings of time.

    Notes
    -----
    The chance decides whether the target is met; days say how far, since a chance of 0 stands
    still while the finish comes nearer. Without a deadline, half the chance missing is half a
    doubling.
    """
    met = prob >= BY_DEADLINE_PROB and not forecast.refused
    margin = prob - BY_DEADLINE_PROB
    deadline = forecast.backlog.deadline
    if forecast.refused:
        margin = -LARGEST_MARGIN
    elif forecast.prob_by_deadline is not None and deadline is not None and start is not None:
        days_left = max((deadline - start).days, 0) + 1
        margin = log_margin(days_left, float(forecast.days.quantile(SURE_LEVEL)))
    return max(margin, 0.0) if met else min(margin, -NOTICED)
