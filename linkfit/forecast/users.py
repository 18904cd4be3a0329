"""How many users each service bears in the busy hour, and which direction of the link fills."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.errors import InputError
from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.draws import Forecast
from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.load import (
    directions,
    runs_in_busy_hour,
    service_classes,
    stream_load_bps,
)
from linkfit.forecast.unanswered import refusal
from linkfit.forecast.user_limits import UserLimit, bears_load
from linkfit.site.model import Service, Site, Task

if TYPE_CHECKING:
    from linkfit.link.model import LinkModel

_STEPS = (1, 2, 5)  # of each decade: the numbers of users shown


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectionUse:
    """One direction of the link as users are added to one service.

    `others_frac` is the share of the mean capacity that all else takes; `one_user_frac` what
    each user adds. `n_full` has unit "users": with more than that, more is asked for in the mean
    than the link carries; one draw a world, inf where users bring nothing.
    """

    direction: str
    others_frac: float
    one_user_frac: float
    n_full: Forecast

    def busy_frac(self, n_users: int) -> float:
        """What is asked for with `n_users`, as a share of the mean capacity; may exceed 1."""
        return self.others_frac + n_users * self.one_user_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskUsers:
    """Users that one task bears. `limit` None: it has no target, or users do not slow it.

    `refused` and `unmeasured` as in TaskForecast; `curve` holds (number of users, time [s]).
    """

    task: Task
    limit: UserLimit | None
    refused: str = ""
    unmeasured: str = ""
    curve: tuple[tuple[int, Forecast], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceUsers:
    """Users that a service bears: those of the task that is first too slow (None: no limit)."""

    service: Service
    limit: UserLimit | None
    first_slow: str
    tasks: tuple[TaskUsers, ...]
    uses: tuple[DirectionUse, ...]

    @property
    def fills_first(self) -> DirectionUse | None:
        """The direction that users fill first; None where they bring nothing to speak of."""
        filling = [use for use in self.uses if use.one_user_frac > 0]
        return min(filling, key=lambda use: float(use.n_full.quantile(0.5)), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsersForecast:
    """The services asked for, at local hour `hour` (None: no slower hour is known)."""

    site: Site
    seed: int
    hour: float | None
    services: tuple[ServiceUsers, ...]


def forecast_users(
    site: Site,
    link: "LinkModel",
    *,
    service: str | None = None,
    task: str | None = None,
    up_to: int = 60,
    seed: int = 0,
    hour: float | None = None,
    n_probes: int = 400,
) -> UsersForecast:
    """How many users each service bears with everybody else of the site on the link.

    Parameters
    ----------
    service, task : str, optional
        Only these, with the time against the number of users. All services, and no curves, if
        not given.
    up_to : int
        Largest number of users on the curve.
    hour : float, optional
        Local hour for which the answer holds; the slowest measured one if not given. [h]
    n_probes : int
        Runs of each task looked at for each number of users.

    Raises
    ------
    InputError
        If the site has no such service or task.

    Notes
    -----
    Users of one service are added, all other services stay as they are.
    """
    top = count("up_to", up_to)
    chosen = _chosen(site, service, task)
    evaluator = Evaluator(link, seed=seed, n_probes=n_probes, hour=hour)
    busy = evaluator.busy_hour(site)
    curves = service is not None or task is not None
    found = [
        _service_users(evaluator, site, one, tasks, busy, top if curves else 0)
        for one, tasks in chosen
    ]
    return UsersForecast(site=site, seed=seed, hour=evaluator.hour_of(site), services=tuple(found))


def _chosen(
    site: Site, service: str | None, task: str | None
) -> list[tuple[Service, tuple[Task, ...]]]:
    """The services and tasks of these names."""
    services = [one for one in site.services if service in (None, one.name)]
    if not services:
        known = ", ".join(repr(one.name) for one in site.services) or "none"
        raise InputError(f"--service: expected one of {known}, got {service!r}")
    if task is None:
        return [(one, one.tasks) for one in services]
    chosen = [(one, tuple(t for t in one.tasks if t.name == task)) for one in services]
    if not any(tasks for _, tasks in chosen):
        known = ", ".join(repr(t.name) for one in services for t in one.tasks) or "none"
        raise InputError(f"--task: expected one of {known}, got {task!r}")
    return [(one, tasks) for one, tasks in chosen if tasks]


def _service_users(
    evaluator: Evaluator,
    site: Site,
    service: Service,
    tasks: Sequence[Task],
    hour: BusyHour,
    up_to: int,
) -> ServiceUsers:
    found = [_task_users(evaluator, site, service, task, hour) for task in tasks]
    # a task that was asked for by name counts, promised or not
    promised = [t for t in found if t.limit and (t.task.must_carry or len(tasks) == 1)]
    slowest = min(
        promised, key=lambda t: (t.limit.n_users, t.limit.n_low) if t.limit else (0, 0),
        default=None,
    )  # fmt: skip
    limit = None if slowest is None else slowest.limit
    if limit is not None:
        limit = replace(
            limit,
            n_low=min(t.limit.n_low for t in promised if t.limit),
            n_high=min(t.limit.n_high for t in promised if t.limit),
        )
    if up_to:
        found = [
            replace(one, curve=_curve(evaluator, site, service, one, hour, up_to))
            if one is slowest or len(tasks) == 1
            else one
            for one in found
        ]
    uses = tuple(_use(hour, site, service, way) for way in hour.paths)
    first_slow = "" if slowest is None or limit is None or limit.at_limit else slowest.task.name
    return ServiceUsers(
        service=service, limit=limit, first_slow=first_slow, tasks=tuple(found), uses=uses
    )


def _task_users(
    evaluator: Evaluator, site: Site, service: Service, task: Task, hour: BusyHour
) -> TaskUsers:
    """The limit of one task, to the user."""
    unmeasured = " and ".join(way for way in directions(task) if way not in hour.paths)
    refused = refusal(task, site.path)
    if unmeasured:
        return TaskUsers(task=task, limit=None, refused=refused, unmeasured=unmeasured)
    if refused:
        none = UserLimit(n_users=0, n_low=0, n_high=0, at_limit=False)
        return TaskUsers(task=task, limit=none, refused=refused)
    if task.target_s is None:
        return TaskUsers(task=task, limit=None)
    curve = evaluator.curve(task, service, site.path, hour)
    if bears_load(task, service, site.path):
        return TaskUsers(task=task, limit=curve.limit(task.target_s, exact=True))
    time = curve.time(service.n_users)
    if float(time.quantile(0.95)) <= task.target_s:
        return TaskUsers(task=task, limit=None)
    # late with nobody in its way: for how many makes no difference
    return TaskUsers(task=task, limit=UserLimit(n_users=0, n_low=0, n_high=0, at_limit=False))


def _curve(
    evaluator: Evaluator, site: Site, service: Service, found: TaskUsers, hour: BusyHour, up_to: int
) -> tuple[tuple[int, Forecast], ...]:
    """Time at round numbers of users, at those that there are, and around the limit."""
    if found.unmeasured or found.refused:
        return ()
    numbers = {s * 10**p for p in range(4) for s in _STEPS} | {service.n_users, up_to}
    if found.limit is not None and not found.limit.at_limit:
        numbers |= {found.limit.n_users, found.limit.n_users + 1}
    curve = evaluator.curve(found.task, service, site.path, hour)
    return tuple((n, curve.time(n)) for n in sorted(numbers) if 1 <= n <= up_to)


def _use(hour: BusyHour, site: Site, service: Service, way: str) -> DirectionUse:
    """What users of `service` and all others ask of one direction."""
    paths = hour.paths[way]
    one, each_bps = replace(service, n_users=1), 0.0
    if runs_in_busy_hour(service):
        each_bps = sum(flow.load_bps for flow in service_classes(one, site.path, way, 1))
        each_bps += stream_load_bps(one, site.path, way)
    all_bps = sum(flow.load_bps for flow in hour.classes[way]) + hour.stream_bps[way]
    others_bps = max(all_bps - service.n_users * each_bps, 0.0)
    worlds, index = np.unique(paths.world, return_inverse=True)
    rates_bps = np.bincount(index, paths.cumulative_bits[:, -1]) / np.bincount(index)
    rates_bps = rates_bps / paths.horizon_s
    full = np.full(worlds.size, np.inf)
    if each_bps:
        full = np.floor(np.maximum(rates_bps - others_bps, 0.0) / each_bps)
    mean_bps = max(paths.mean_rate_bps, 1e-9)
    return DirectionUse(
        direction=way,
        others_frac=others_bps / mean_bps,
        one_user_frac=each_bps / mean_bps,
        n_full=Forecast(draws=full, unit="users", world=worlds.astype(np.int32)),
    )
