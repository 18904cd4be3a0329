"""Verdict on a service: does it fit, with which certainty, before and after the changes."""

from linkfit.advice.measures import OVER_CAP_PROB, SURE_LEVEL
from linkfit.forecast.outcomes import DataForecast, Evaluation, ServiceForecast, TaskForecast

VERDICTS = ("fits", "fits with changes", "does not fit", "not enough data")
OPEN_FACTOR = 1.5


def task_stands(forecast: TaskForecast) -> str:
    """How a task stands to its target: "yes", "no", or "open" if measuring could turn it.

    Notes
    -----
    Open means: the 5 % to 95 % interval of the 95th percentile over the worlds (what the link
    may be like, given how little was measured) holds the target with room of a factor 1.5 on
    both sides. Then some links that agree with the measurements carry the task with ease and
    others clearly do not, and only more measurements tell which. A narrower interval around the
    target is a close call, which the 95th percentile over all worlds decides.
    """
    target_s = forecast.task.target_s
    if forecast.refused:
        return "no"
    if target_s is None:
        return "yes"
    low_s, high_s = forecast.time.quantile_interval(SURE_LEVEL)
    if low_s * OPEN_FACTOR <= target_s <= high_s / OPEN_FACTOR:
        return "open"
    return "yes" if forecast.meets_target else "no"


def service_stands(forecast: ServiceForecast, data: DataForecast) -> str:
    """A service as a whole, for all of the billing cycle: its worst promised task decides.

    Where the plan is overrun too often, a service must also work at the throttled rate; after a
    stop none does.
    """
    stands = {task_stands(task) for task in forecast.tasks if task.task.must_carry}
    if "no" in stands or ends_with_the_plan(forecast, data):
        return "no"
    return "open" if "open" in stands else "yes"


def ends_with_the_plan(forecast: ServiceForecast, data: DataForecast) -> bool:
    """Does the service fail later in the cycle because the plan runs out?"""
    overrun = data.prob_over_cap is not None and data.prob_over_cap > OVER_CAP_PROB
    return overrun and forecast.works_throttled is False


def service_verdict(name: str, before: Evaluation, after: Evaluation) -> str:
    """One of `VERDICTS` for the service called `name`.

    "fits" as it is; "fits with changes" if only the changed site carries it; "not enough data"
    if measuring could turn the answer either before or after; else "does not fit".
    """
    was, becomes = (
        next(
            service_stands(service, evaluation.data)
            for service in evaluation.services
            if service.service.name == name
        )
        for evaluation in (before, after)
    )
    if was == "yes":
        return "fits"
    if becomes == "yes":
        return "fits with changes"
    return "not enough data" if "open" in (was, becomes) else "does not fit"
