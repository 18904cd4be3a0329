"""How many users a task bears: the largest number with the 95th percentile inside its target."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.load import (
    directions,
    flow_class,
    is_stream,
    service_classes,
    stream_load_bps,
)
from linkfit.forecast.sharing import spread_rows
from linkfit.forecast.tagged import UserLimit, capacity_fifth, largest_number, max_users
from linkfit.forecast.task_times import BusyHour, TaskDraws, draw_rtts_s, stream_draws
from linkfit.site.model import PathLimits, Service, Task

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.sharing import FlowClass

LEVEL = 0.95
MOST_USERS = 200  # nobody plans for more on such a link; the search says where it stopped
N_PROBES = 100
_BUSY_S = 900.0  # a crowd lasts a quarter of an hour before the run looked at


def task_user_limit(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    draws: TaskDraws,
    *,
    rng: np.random.Generator,
    n_probes: int = N_PROBES,
) -> UserLimit | None:
    """Most users of `service` for which `task` keeps its target, others as they are.

    None where the task has no target or its users bring no load worth counting. A task that
    crosses both directions bears what the tighter one bears.
    """
    if task.target_s is None:
        return None
    if is_stream(task):
        return _stream_limit(task, service, path, hour, rng=rng, n_probes=n_probes)
    limits = []
    for direction in directions(task):
        per_user = service_classes(service, path, direction, 1)
        if not per_user:
            continue
        own = {flow.name for flow in per_user}
        others: list[FlowClass] = [f for f in hour.classes[direction] if f.name not in own]
        limits.append(
            max_users(
                hour.left[direction],
                flow_class(task, service, path, 1),
                per_user,
                others,
                target_s=task.target_s,
                rng=rng,
                level=LEVEL,
                overhead_s=rng.choice(draws.fixed_s, n_probes),
                n_probes=n_probes,
                n_limit=MOST_USERS,
                busy_s=_BUSY_S,
                company=hour.company,
            )
        )
    if not limits:
        return None
    return min(limits, key=lambda limit: (limit.n_users, limit.n_low))


def _stream_limit(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    *,
    rng: np.random.Generator,
    n_probes: int = N_PROBES,
) -> UserLimit:
    """Bisection over the mean load that the service's streams put on the link."""
    rtts = draw_rtts_s(hour, task, n_probes, rng)
    seed = int(rng.integers(2**63))

    one = hour.paths[directions(task)[0]]
    return largest_number(
        lambda n_users: _late(task, service, path, hour, n_users, rtts, seed),
        group=capacity_fifth(one)[spread_rows(one, n_probes)],
        level=LEVEL,
        n_limit=MOST_USERS,
    )


def _late(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    n_users: int,
    rtts_s: "NDArray[np.float64]",
    seed: int,
) -> "NDArray[np.bool_]":
    """Which probes miss the target with `n_users`, in either direction; same draws each time."""
    missed = np.zeros(rtts_s.size, np.bool_)
    for direction in directions(task):
        own = stream_load_bps(service, path, direction)
        each = own / service.n_users if service.n_users else 0.0
        draws = stream_draws(
            task,
            path,
            hour,
            direction,
            rtts_s=rtts_s,
            rng=np.random.default_rng(seed),
            more_bps=each * n_users - own,
        )
        missed |= draws.times_s > (task.target_s or 0.0)
    return missed
