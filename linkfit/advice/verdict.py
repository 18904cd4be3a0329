"""Verdict on a service: does it fit, with which certainty, before and after the changes."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.measures import OVER_CAP_PROB, SURE_LEVEL
from linkfit.advice.reasons import format_against
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast, Evaluation, ServiceForecast, TaskForecast
from linkfit.units import format_duration, format_rate, format_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

ENDS_WITH_PLAN = "ends with the data plan"
VERDICTS = ("fits", "fits with changes", "does not fit", "not enough data")
OPEN_FACTOR = 1.5
OPEN_FRAC = 0.2


def task_stands(forecast: TaskForecast) -> str:
    """How a task stands to its target: "yes", "no", or "open" if measuring could turn it.

    Notes
    -----
    A world is one of the links that agree with the measurements. Open means: in at least a
    fifth of the worlds the 95th percentile meets the target with room of a factor 1.5, and in
    at least another fifth it misses by as much. Then only more measurements tell which kind of
    link this is. Worlds that scatter closely around the target are a close call, which the 95th
    percentile over all of them decides. The room keeps chance inside a world out: with 20 draws
    of a lognormal with sigma 0.5, a percentile moves by a factor of 1.3 (one standard error).
    """
    target_s = forecast.task.target_s
    if forecast.refused:
        return "no"
    if forecast.unmeasured:
        return "open"
    if target_s is None:
        return "yes"
    p95_s = _world_p95_s(forecast.time)
    clearly_met = float(np.mean(p95_s * OPEN_FACTOR <= target_s))
    clearly_missed = float(np.mean(p95_s >= target_s * OPEN_FACTOR))
    if min(clearly_met, clearly_missed) >= OPEN_FRAC:
        return "open"
    return "yes" if forecast.meets_target else "no"


def _world_p95_s(time: Forecast) -> "NDArray[np.float64]":
    """The 95th percentile in each world, shape (worlds,). [s]"""
    groups = (time.draws[time.world == world] for world in np.unique(time.world))
    return np.array([np.quantile(g, SURE_LEVEL, method="inverted_cdf") for g in groups])


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


def plan_reason(before: Evaluation, after: Evaluation) -> str:
    """What `ENDS_WITH_PLAN` means, said once for all services; "" where it is said of none."""
    said = [
        f"{when}, the data plan runs out in {format_share(evaluation.data.prob_over_cap or 0.0)} "
        f"of billing cycles, wanted: {format_share(OVER_CAP_PROB)} or less"
        for when, evaluation in (("as it is", before), ("with all changes", after))
        if any(ends_with_the_plan(service, evaluation.data) for service in evaluation.services)
    ]
    if not said:
        return ""
    rate_bps = before.site.plan.throttle_bps
    left = "then nothing passes" if rate_bps is None else (
        f"the {format_rate(rate_bps)} that are left then do not carry the services of which it "
        "is said"
    )  # fmt: skip
    return f"{ENDS_WITH_PLAN}: {'; '.join(said)}; {left}"


def service_verdict(name: str, before: Evaluation, after: Evaluation) -> str:
    """One of `VERDICTS` for the service called `name`.

    "fits" as it is; "fits with changes" if only the changed site carries it; "not enough data"
    if measuring could turn the answer either before or after; else "does not fit".
    """
    was, becomes = (_stands(name, evaluation) for evaluation in (before, after))
    if was == "yes":
        return "fits"
    if becomes == "yes":
        return "fits with changes"
    return "not enough data" if "open" in (was, becomes) else "does not fit"


def verdict_reason(name: str, evaluation: Evaluation) -> str:
    """Why the service called `name` does not simply fit in `evaluation`; "" if it does."""
    forecast = _service(name, evaluation)
    promised = [task for task in forecast.tasks if task.task.must_carry]
    by_stand = {
        stand: ", ".join(task.task.name for task in promised if task_stands(task) == stand)
        for stand in ("no", "open")
    }
    parts = []
    if by_stand["no"]:
        parts.append(f"misses its target: {by_stand['no']}")
    if ends_with_the_plan(forecast, evaluation.data):
        parts.append(ENDS_WITH_PLAN)
    if by_stand["open"]:
        parts.append(f"too little measured to tell: {by_stand['open']}")
    return "; ".join(parts)


def verdict_sentence(name: str, before: Evaluation, after: Evaluation) -> str:
    """Why `service_verdict` says what it says of the service called `name`; "" if it fits.

    "fits with changes" tells what it misses as it is; the others what stays in the way with all
    changes, and what is still open tells between which times the truth may lie.
    """
    verdict = service_verdict(name, before, after)
    if verdict == "fits":
        return ""
    if verdict == "fits with changes":
        return f"as it is, {verdict_reason(name, before)}"
    if verdict == "does not fit":
        return f"with all changes: {_missing_text(name, after)}"
    shown = _left_open(name, before, after)
    which = "as it is" if shown is before else "with all changes"
    return f"{which}: {'; '.join(map(_open_text, _open_tasks(name, shown)))}"


def open_directions(name: str, before: Evaluation, after: Evaluation) -> tuple[str, ...]:
    """Directions of the link that more measuring must cover to tell of the service `name`."""
    if service_verdict(name, before, after) != "not enough data":
        return ()
    open_tasks = _open_tasks(name, _left_open(name, before, after))
    flows = {task.task.flow for task in open_tasks}
    wanted = {"out": ("up",), "in": ("down",)}
    return tuple(sorted({one for flow in flows for one in wanted.get(flow, ("up", "down"))}))


def _left_open(name: str, before: Evaluation, after: Evaluation) -> Evaluation:
    """The site that measuring could turn: the changed one unless that misses anyway."""
    return after if _stands(name, after) == "open" else before


def _open_tasks(name: str, evaluation: Evaluation) -> list[TaskForecast]:
    tasks = _service(name, evaluation).tasks
    return [task for task in tasks if task.task.must_carry and task_stands(task) == "open"]


def _service(name: str, evaluation: Evaluation) -> ServiceForecast:
    return next(one for one in evaluation.services if one.service.name == name)


def _stands(name: str, evaluation: Evaluation) -> str:
    return service_stands(_service(name, evaluation), evaluation.data)


def _missing_text(name: str, evaluation: Evaluation) -> str:
    """What stays in the way, each missed task with its time and its target."""
    parts = [
        f"{forecast.task.name} {_miss(forecast)}"
        for forecast in _service(name, evaluation).tasks
        if forecast.task.must_carry and task_stands(forecast) == "no"
    ]
    if ends_with_the_plan(_service(name, evaluation), evaluation.data):
        parts.append(ENDS_WITH_PLAN)
    return "; ".join(parts)


def _miss(forecast: TaskForecast) -> str:
    target_s = forecast.task.target_s
    if forecast.refused:
        return f"cannot be carried, {forecast.refused}"
    if target_s is None:
        return "misses"
    p95_s = float(forecast.time.quantile(SURE_LEVEL))
    return f"takes {format_against(p95_s, target_s, 's')}, target {format_duration(target_s)}"


def _open_text(forecast: TaskForecast) -> str:
    """Between which times the 95th percentile may lie, on both sides of the target."""
    target_s = forecast.task.target_s
    if forecast.unmeasured or target_s is None:
        return f"{forecast.task.name}: link {forecast.unmeasured or 'used'} was never measured"
    low_s, high_s = forecast.time.quantile_interval(SURE_LEVEL)
    return (
        f"{forecast.task.name} may take from {format_duration(low_s)} to "
        f"{format_duration(high_s)} "
        f"(90 % interval on the 95th percentile), target {format_duration(target_s)}: "
        "too little measured to tell"
    )
