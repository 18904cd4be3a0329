"""Tasks and backlogs that get no forecast: what the path refuses, what nobody measured."""

import math

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import BacklogForecast, TaskForecast
from linkfit.site.model import Backlog, PathLimits, Service, Task
from linkfit.units import format_share, format_size

_REFUSED_FRAC = 0.05  # of a task's runs over the body limit: then it cannot be relied on


def _never(unit: str) -> Forecast:
    """A forecast of something of which nothing is known."""
    return Forecast(draws=np.array([math.inf]), unit=unit, world=np.zeros(1, np.int32))


def unmeasured_task(task: Task, service: Service, path: PathLimits, direction: str) -> TaskForecast:
    """The forecast of a task that crosses `direction`, which nobody measured."""
    return TaskForecast(
        service=service.name,
        task=task,
        time=_never("s"),
        prob_within_target=None,
        n_max_users=None,
        refused=refusal(task, path),
        unmeasured=direction,
    )


def unmeasured_backlog(backlog: Backlog, direction: str) -> BacklogForecast:
    """The forecast of a backlog that crosses `direction`, which nobody measured."""
    return BacklogForecast(
        backlog=backlog,
        days=_never("days"),
        binding="not measured",
        binding_frac={"not measured": 1.0},
        by_deadline=None,
        unmeasured=direction,
    )


def refusal(task: Task, path: PathLimits) -> str:
    """Why the path cannot carry `task` at all; "" if it can.

    The relay's body limit holds for what clients send in ("in", "both"): a request over it is
    refused whole, however long one waits.
    """
    limit = path.body_limit_bytes
    if limit is None or path.entry != "relay" or not task.through_entry:
        return ""
    if task.flow == "out" or task.duration_s > 0:
        return ""
    if task.chunk_bytes is not None:
        if task.chunk_bytes <= limit:
            return ""
        return f"its pieces of {format_size(task.chunk_bytes)} exceed the path's body limit"
    share = _share_above(task, limit)
    if share <= _REFUSED_FRAC:
        return ""
    over = format_share(share)
    return f"{over} of its requests exceed the path's body limit of {format_size(limit)}"


def _share_above(task: Task, limit_bytes: float) -> float:
    """Share of the lognormal size above `limit_bytes`. [fraction]"""
    distance = math.log(limit_bytes / task.size.median_bytes)
    sigma = math.log(task.size.spread)
    if sigma == 0:
        return float(distance < 0)
    return 0.5 * math.erfc(distance / sigma / math.sqrt(2))
