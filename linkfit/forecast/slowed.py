"""What still works once the carrier has slowed the link down: every task again at that rate."""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from linkfit._checks import positive
from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.evaluation import Evaluator, stream_seed
from linkfit.forecast.load import directions
from linkfit.forecast.outcomes import TaskForecast
from linkfit.forecast.task_times import task_draws
from linkfit.forecast.unanswered import refusal, unmeasured_task

if TYPE_CHECKING:
    from linkfit.link.paths import CapacityPaths
    from linkfit.site.model import Service, Site, Task

_N_PROBES = 100

_Known = dict[tuple[str, str], dict[Hashable, Any]]  # of each task, what company does not change


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowedService:
    """One service at the slowed rate: what it promises, with nothing else on the link, and all."""

    service: "Service"
    alone: tuple[TaskForecast, ...]
    together: tuple[TaskForecast, ...]

    @property
    def works_alone(self) -> bool | None:
        """Does all it promises meet its target with nothing else running? None: unknown."""
        return _works(self.alone)

    @property
    def works_together(self) -> bool | None:
        """The same with everything else of the site running."""
        return _works(self.together)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slowed:
    """Every service of a site with the link held to `rate_bps` in each direction."""

    rate_bps: float
    services: tuple[SlowedService, ...]


def slowed(site: "Site", evaluator: Evaluator, rate_bps: float) -> Slowed:
    """Every service of `site` in its busy hour, the link held to `rate_bps` each way.

    Notes
    -----
    What is asked of the link stays what it is: people who give up on a slow link would leave
    more room for the others. So a service is judged alone as well, all others switched off.
    """
    positive("slowed_to", rate_bps)
    held: dict[str, CapacityPaths] = {}
    known: _Known = {}
    together = _held(evaluator.busy_hour(site), rate_bps, held)
    services = []
    for service in site.services:
        only = replace(site, services=(service,), background=(), backlogs=())
        alone = _held(evaluator.busy_hour(only), rate_bps, held)
        services.append(
            SlowedService(
                service=service,
                alone=_tasks(service, site, alone, evaluator.seed, known),
                together=_tasks(service, site, together, evaluator.seed, known),
            )
        )
    return Slowed(rate_bps=rate_bps, services=tuple(services))


def _works(tasks: tuple[TaskForecast, ...]) -> bool | None:
    if any(task.unmeasured for task in tasks):
        return None
    return all(task.meets_target for task in tasks)


def _tasks(
    service: "Service", site: "Site", hour: BusyHour, seed: int, known: _Known
) -> tuple[TaskForecast, ...]:
    promised = [task for task in service.tasks if task.must_carry]
    return tuple(_task(task, service, site, hour, seed, known) for task in promised)


def _held(hour: BusyHour, rate_bps: float, kept: "dict[str, CapacityPaths]") -> BusyHour:
    """The busy hour with the link held to `rate_bps`; `kept` by direction, of the same hour."""
    for way, paths in hour.paths.items():
        if way not in kept:
            kept[way] = paths.limited(rate_bps)
    held = {way: kept[way] for way in hour.paths}
    return replace(hour, paths=held)


def _task(
    task: "Task", service: "Service", site: "Site", hour: BusyHour, seed: int, known: _Known
) -> TaskForecast:
    unmeasured = " and ".join(d for d in directions(task) if d not in hour.paths)
    if unmeasured:
        return unmeasured_task(task, service, site.path, unmeasured)
    # the same draws as for the verdict before the cap, so that less rate never helps by luck
    rng = stream_seed(seed, "task", service.name, task.name)
    time = task_draws(
        task, service, site.path, hour, rng=rng, n_probes=_N_PROBES,
        alone=known.setdefault((service.name, task.name), {}),
    ).forecast()  # fmt: skip
    return TaskForecast(
        service=service.name,
        task=task,
        time=time,
        prob_within_target=None if task.target_s is None else time.prob_within(task.target_s),
        n_max_users=None,
        refused=refusal(task, site.path),
    )
