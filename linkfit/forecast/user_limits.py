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
from linkfit.forecast.tagged import UserLimit, max_users
from linkfit.forecast.task_times import BusyHour, TaskDraws, draw_rtts_s, stream_draws
from linkfit.site.model import PathLimits, Service, Task

if TYPE_CHECKING:
    from linkfit.forecast.sharing import FlowClass

LEVEL = 0.95
MOST_USERS = 1000


def task_user_limit(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    draws: TaskDraws,
    *,
    rng: np.random.Generator,
    n_probes: int,
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
                hour.paths_besides_bps(direction, hour.stream_bps[direction]),
                flow_class(task, service, path, 1),
                per_user,
                others,
                target_s=task.target_s,
                rng=rng,
                level=LEVEL,
                overhead_s=rng.choice(draws.fixed_s, n_probes),
                n_probes=n_probes,
                n_limit=MOST_USERS,
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
    n_probes: int,
) -> UserLimit:
    """Bisection over the mean load that the service's streams put on the link."""
    rtts = draw_rtts_s(hour, task, n_probes, rng)
    seed = int(rng.integers(2**63))
    target_s = task.target_s or 0.0

    def late_by_world(n_users: int) -> "tuple[float, dict[int, float]]":
        worst = 0.0
        by_world: dict[int, float] = {}
        for direction in directions(task):
            own = stream_load_bps(service, path, direction)
            each = own / service.n_users if service.n_users else 0.0
            draws = stream_draws(
                task, path, hour, direction,
                rtts_s=rtts, rng=np.random.default_rng(seed), more_bps=each * n_users - own,
            )  # fmt: skip
            late = draws.times_s > target_s
            worst = max(worst, float(late.mean()))
            for world in np.unique(draws.world):
                share = float(late[draws.world == world].mean())
                by_world[int(world)] = max(by_world.get(int(world), 0.0), share)
        return worst, by_world

    seen: dict[int, tuple[float, dict[int, float]]] = {}

    def fits(n_users: int, world: int | None) -> bool:
        if n_users not in seen:
            seen[n_users] = late_by_world(n_users)
        worst, by_world = seen[n_users]
        return (worst if world is None else by_world[world]) <= 1 - LEVEL + 1e-9

    def largest(world: int | None) -> int:
        low, high = 0, 1
        while high <= MOST_USERS and fits(high, world):
            low, high = high, high * 2
        high = min(high, MOST_USERS + 1)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if fits(middle, world) else (low, middle)
        return low

    n_users = largest(None)
    each_world = [largest(world) for world in seen[1][1]]
    low, high = np.quantile(each_world, (0.05, 0.95), method="inverted_cdf")
    return UserLimit(
        n_users=n_users, n_low=int(low), n_high=int(high), at_limit=n_users >= MOST_USERS
    )
