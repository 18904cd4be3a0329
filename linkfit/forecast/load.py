"""What a Site asks of each direction of the link in its busy hour.

A task counts once for each direction it crosses: "out" up, "in" down, "both" each way, and the
opposite way as well for clients on the same link that use the public name.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from linkfit.forecast.demand import REQUEST_BYTES, forward_factor, miss_frac
from linkfit.forecast.sharing import FlowClass
from linkfit.site.model import PathLimits, Service, Site, Task
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_HOUR

BUSY_HOUR_SHARE_FRAC = 0.12  # of a day's tasks in the busiest hour; common practice: 10 to 15 %
# load of an even hour as a part of the busy one's
EVEN_LOAD_FRAC = 1 / (24 * BUSY_HOUR_SHARE_FRAC)
# moves so little that it waits for others but holds nobody back
NEGLIGIBLE_BITS = 5e3 * BITS_PER_BYTE


def directions(task: Task) -> tuple[str, ...]:
    """Link directions that the payload of `task` crosses from a client elsewhere."""
    return {"out": ("up",), "in": ("down",), "both": ("up", "down")}[task.flow]


def opposite(direction: str) -> str:
    """The other direction of the link."""
    return "down" if direction == "up" else "up"


def same_link_frac(task: Task, service: Service, path: PathLimits) -> float:
    """Share of a task's runs that cross the link both ways. [fraction]

    Nobody on the link is at the other end of what the server itself opens.
    """
    if service.local_name or not task.through_entry:
        return 0.0
    return path.same_link_share_frac


def away_frac(task: Task, service: Service, path: PathLimits) -> float:
    """Share of a task's runs that cross the link at all. [fraction]"""
    if service.local_name and task.through_entry:
        return 1.0 - path.same_link_share_frac
    return 1.0


def wire_bytes(payload_bytes: float, n_requests: float, path: PathLimits) -> float:
    """Bytes at the IP layer for a payload: headers and tunnel of each packet, and requests."""
    return payload_bytes * forward_factor(path) + n_requests * REQUEST_BYTES


def is_stream(task: Task) -> bool:
    """Does the task ask for a steady rate for a while, rather than for bytes at once?"""
    return task.duration_s > 0 or task.live


def stream_rate_bps(task: Task, path: PathLimits) -> float:
    """Rate that one running stream needs at the IP layer. [bit/s]"""
    return wire_bytes(task.size.mean_bytes, 0, path) * BITS_PER_BYTE / task.duration_s


def flow_class(task: Task, service: Service, path: PathLimits, n_users: float) -> FlowClass:
    """The transfers that `n_users` make of `task` in the busy hour, caches taken off.

    A task of many requests is one transfer whose size is their sum; the sum of n independent
    lognormal sizes is taken as lognormal with the same mean and variance.
    """
    miss = miss_frac(service, task)
    n_requests = max(task.n_requests * miss, 1e-9)
    # a single object is there or not; of many a share is
    arrivals_factor = miss if task.n_requests == 1 else 1.0
    n_wire = 1.0 if task.n_requests == 1 else n_requests
    mean = wire_bytes(task.size.mean_bytes * n_wire, n_wire, path) * BITS_PER_BYTE
    variation = math.expm1(math.log(task.size.spread) ** 2) / max(n_wire, 1.0)
    sigma = math.sqrt(math.log1p(variation))
    per_s = n_users * task.per_user_day * BUSY_HOUR_SHARE_FRAC / SECONDS_PER_HOUR
    return FlowClass(
        name=f"{service.name}: {task.name}",
        arrivals_per_s=per_s * arrivals_factor,
        median_bits=mean * math.exp(-(sigma**2) / 2),
        spread=math.exp(sigma),
        cap_bps=service.rate_limit_bps,
    )


def yields(service: Service, direction: str) -> bool:
    """Does what `service` moves on `direction` wait for all else?

    Up, the site's own router decides what goes first; down, the carrier's does.
    """
    return service.priority == "low" and direction == "up"


def crossing_frac(task: Task, service: Service, path: PathLimits, direction: str) -> float:
    """Share of a task's runs that put its payload on `direction`. [fraction]"""
    if direction in directions(task):
        return away_frac(task, service, path)
    return same_link_frac(task, service, path)


def service_classes(
    service: Service, path: PathLimits, direction: str, n_users: float
) -> tuple[FlowClass, ...]:
    """What `n_users` of `service` put on `direction` in the busy hour, streams apart."""
    classes = []
    for task in service.tasks:
        share = crossing_frac(task, service, path, direction)
        if share == 0 or is_stream(task) or task.per_user_day == 0:
            continue
        flow = flow_class(task, service, path, n_users)
        if flow.mean_bits >= NEGLIGIBLE_BITS and flow.arrivals_per_s > 0:
            classes.append(
                replace(
                    flow,
                    arrivals_per_s=flow.arrivals_per_s * share,
                    low_priority=yields(service, direction),
                    n_sources=math.ceil(n_users),
                )
            )
    return tuple(classes)


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamClass:
    """Streams of one kind in the busy hour: how many run in the mean, and what each takes.

    `n_running` is by Little's law starts per second x how long each lasts; never more than
    `n_sources` users run one at once. A live one keeps its rate where others would make way.
    """

    name: str
    n_running: float
    rate_bps: float
    duration_s: float
    n_sources: int
    live: bool = False

    @property
    def load_bps(self) -> float:
        """Mean rate of all that run. [bit/s]"""
        return self.n_running * self.rate_bps

    def besides(self, name: str) -> "StreamClass":
        """What runs beside a stream of `name`: its own user watches that one."""
        if name != self.name or self.n_sources < 1:
            return self
        share = (self.n_sources - 1) / self.n_sources
        return replace(self, n_running=self.n_running * share, n_sources=self.n_sources - 1)


def service_streams(
    service: Service, path: PathLimits, direction: str, n_users: float
) -> tuple[StreamClass, ...]:
    """Streams that `n_users` of `service` have on `direction` in the busy hour."""
    streams = []
    for task in service.tasks:
        share = crossing_frac(task, service, path, direction)
        if not share or not is_stream(task) or not task.per_user_day or not n_users:
            continue
        per_s = n_users * task.per_user_day * BUSY_HOUR_SHARE_FRAC / SECONDS_PER_HOUR
        streams.append(
            StreamClass(
                name=f"{service.name}: {task.name}",
                n_running=share * per_s * task.duration_s,
                rate_bps=stream_rate_bps(task, path),
                duration_s=task.duration_s,
                n_sources=math.ceil(n_users),
                live=task.live,
            )
        )
    return tuple(streams)


def stream_load_bps(service: Service, path: PathLimits, direction: str) -> float:
    """Mean rate of all running streams of `service` in the busy hour. [bit/s]"""
    streams = service_streams(service, path, direction, service.n_users)
    return math.fsum(stream.load_bps for stream in streams)


def runs_in_busy_hour(service: Service) -> bool:
    """A service with a time window of its own keeps out of the busy hour."""
    return not service.window


def site_classes(site: Site, direction: str) -> tuple[FlowClass, ...]:
    """Everything that shares `direction` in the busy hour, streams apart."""
    return tuple(
        flow
        for service in _busy(site)
        for flow in service_classes(service, site.path, direction, service.n_users)
    )


def site_streams(site: Site, direction: str) -> tuple[StreamClass, ...]:
    """All streams on `direction` in the busy hour."""
    return tuple(
        stream
        for service in _busy(site)
        for stream in service_streams(service, site.path, direction, service.n_users)
    )


def site_stream_load_bps(site: Site, direction: str) -> float:
    """Mean rate of all streams on `direction` in the busy hour. [bit/s]"""
    return math.fsum(stream.load_bps for stream in site_streams(site, direction))


def _busy(site: Site) -> Iterable[Service]:
    return (service for service in site.services if runs_in_busy_hour(service))
