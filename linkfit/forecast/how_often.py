"""How many times a day a task may happen before the plan runs out."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.data_use import one_time_bytes, rounded_bytes_per_day
from linkfit.forecast.demand import limit_bytes_per_day
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast
from linkfit.forecast.plan_use import usable_bytes
from linkfit.forecast.used_so_far import SoFar
from linkfit.site.model import Service, Site, Task

if TYPE_CHECKING:
    from numpy.typing import NDArray

_N_STEPS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class HowOften:
    """Times a day, all users together, that a task may happen until the plan is spent.

    `alone` and `besides` (the rest of the site) have unit "a day"; their 5 % point is what 19
    of 20 cycles bear. `days`: for how long, what is left of the cycle. `one` is what one time
    uses, in bytes that the plan counts.
    """

    service: Service
    task: Task
    now_per_day: float
    days: float
    one: Forecast
    alone: Forecast
    besides: Forecast


def find_task(site: Site, text: str) -> tuple[Service, Task]:
    """The task called "SERVICE/TASK" in `site`, or "TASK" where one service alone has it."""
    every = [(service, task) for service in site.services for task in service.tasks]
    found = [(s, t) for s, t in every if text in (f"{s.name}/{t.name}", t.name)]
    if len(found) == 1:
        return found[0]
    known = ", ".join(repr(f"{s.name}/{t.name}") for s, t in found or every)
    raise InputError(f"--task: expected one of {known or 'no task at all'}, got {text!r}")


def how_often(
    site: Site,
    service: Service,
    task: Task,
    forecast: Callable[[Site], DataForecast],
    *,
    so_far: SoFar | None = None,
    seed: int = 0,
) -> HowOften:
    """How often `task` may happen on the plan of `site`.

    Parameters
    ----------
    forecast : callable
        Data use of a site from `seed`, with the same draws whatever else it has.

    so_far : SoFar, optional
        The part of the cycle that is over; then the answer holds for the days that are left.

    Raises
    ------
    InputError
        If the plan has no cap, or the task uses nothing that it counts.

    Notes
    -----
    Sizes, overhead and caches vary as in the ledger; the number of times is what is asked for
    and does not. The spread of the mean size of N times follows from N, found by iteration. A
    plan that is used up each cycle has nothing to carry over.
    """
    if site.plan.cap_bytes is None:
        raise InputError("[plan] cap: expected a cap that can run out, got none; give --plan")
    plan = replace(site.plan, carry_over_bytes=0.0, round_up_bytes=None)
    rest = forecast(replace(_with_rate(site, service, task, 0.0), plan=plan))
    others, days, room_bytes = rest.use, rest.cycle_days, site.plan.cap_bytes
    one = one_time_bytes(site, service, task, seed=seed).draws
    rounded = rounded_bytes_per_day(site, seed=seed)
    if so_far is not None:
        others = so_far.rest(rest.use, np.random.default_rng([seed, 0x1EF7]))
        days, room_bytes = so_far.left_days, room_bytes - so_far.used_bytes
        one, rounded = one[so_far.level.rows], rounded[so_far.level.rows]
    if not one.max() > 0:
        raise InputError(
            f"--task: expected a task that uses data that the plan counts, got {task.name!r}: it "
            "crosses the link in no direction that is counted"
        )
    most = limit_bytes_per_day(site, service, site.plan.counted) / one
    square_cov = math.expm1(math.log(task.size.spread) ** 2) / task.n_requests
    z = np.random.default_rng([seed, 0x0F7E]).standard_normal(one.size)

    def times(left_bytes: "NDArray[np.float64]") -> Forecast:
        room = np.maximum(left_bytes, 0.0) / days
        per_day = room / one
        for _ in range(_N_STEPS):
            n_times = np.maximum(per_day * days, 1.0)
            variance = np.log1p(square_cov / n_times)
            per_day = room / (one * np.exp(np.sqrt(variance) * z - variance / 2))
        return Forecast(draws=np.minimum(per_day, most), unit="a day", world=others.world)

    room = usable_bytes(np.full(one.size, max(room_bytes, 0.0)), rounded * days)
    return HowOften(
        service=service,
        task=task,
        now_per_day=service.n_users * task.per_user_day,
        days=days,
        one=Forecast(draws=one, unit="bytes", world=others.world),
        alone=times(room),
        besides=times(room - others.draws),
    )


def _with_rate(site: Site, service: Service, task: Task, per_user_day: float) -> Site:
    """The site with `task` done so often."""
    tasks = tuple(
        replace(t, per_user_day=per_user_day) if t.name == task.name else t for t in service.tasks
    )
    services = tuple(
        replace(s, tasks=tasks) if s.name == service.name else s for s in site.services
    )
    return replace(site, services=services)
