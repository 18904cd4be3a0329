"""What a site's tasks put on the link in each direction: payload, headers, second crossings."""

from dataclasses import dataclass

from linkfit._checks import one_of
from linkfit.forecast.caching import effective_hit_frac
from linkfit.forecast.hours import common_part, day_intervals, open_frac, site_intervals
from linkfit.forecast.overhead import TCP_IPV4_BYTES, goodput_share_frac, mss_bytes
from linkfit.ingest.trace import DIRECTIONS
from linkfit.site.model import Background, PathLimits, Service, Site, Task
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

REQUEST_BYTES = 600.0  # set-up and headers of a request: common practice, 500 to 700 B
_PACKETS_PER_ACK = 2.0  # RFC 9293 section 3.8.6.3: at least every second full segment


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Bytes on the link for each payload byte, and for each request besides; by direction."""

    up_factor: float
    down_factor: float
    up_request_bytes: float
    down_request_bytes: float

    def scaled(self, share_frac: float) -> "Crossing":
        """The crossing of `share_frac` of the payload."""
        return Crossing(
            up_factor=self.up_factor * share_frac,
            down_factor=self.down_factor * share_frac,
            up_request_bytes=self.up_request_bytes * share_frac,
            down_request_bytes=self.down_request_bytes * share_frac,
        )

    def mirrored(self) -> "Crossing":
        """The same the other way: what went up comes down."""
        return Crossing(
            up_factor=self.down_factor,
            down_factor=self.up_factor,
            up_request_bytes=self.down_request_bytes,
            down_request_bytes=self.up_request_bytes,
        )

    def factor(self, counted: str) -> float:
        """Bytes for a payload byte in "up", "down" or "both" together. [1]"""
        return (self.up_factor if counted != "down" else 0.0) + (
            self.down_factor if counted != "up" else 0.0
        )

    def request_bytes(self, counted: str) -> float:
        """Bytes for a request besides its payload in "up", "down" or "both". [bytes]"""
        return (self.up_request_bytes if counted != "down" else 0.0) + (
            self.down_request_bytes if counted != "up" else 0.0
        )


def forward_factor(path: PathLimits) -> float:
    """IP-layer bytes for a payload byte in full packets, tunnel included. [1]"""
    return 1.0 / goodput_share_frac(
        mtu_bytes=path.mtu_bytes, tunnel_bytes=path.tunnel_overhead_bytes
    )


def ack_factor(path: PathLimits) -> float:
    """Bytes of acknowledgements that go back for a payload byte. [1]"""
    header = TCP_IPV4_BYTES + path.tunnel_overhead_bytes
    payload = mss_bytes(mtu_bytes=path.mtu_bytes, tunnel_bytes=path.tunnel_overhead_bytes)
    return header / (_PACKETS_PER_ACK * payload)


def crossing(path: PathLimits, flow: str, per_request_bytes: float = 0.0) -> Crossing:
    """What a payload byte of `flow` costs a client beyond the link; requests cost half each way."""
    forward, back = forward_factor(path), ack_factor(path)
    return Crossing(
        up_factor={"out": forward, "in": back, "both": forward + back}[flow],
        down_factor={"out": back, "in": forward, "both": forward + back}[flow],
        up_request_bytes=per_request_bytes / 2,
        down_request_bytes=per_request_bytes / 2,
    )


def task_crossings(site: Site, service: Service, task: Task) -> tuple[Crossing, Crossing]:
    """Bytes on the link for what `task` moves, before caches: first crossing, and second.

    Notes
    -----
    `same_link_share` of the users sit on the link itself. By the public name what the server
    sends them goes up and comes down again (the second crossing); by a local name it crosses
    not at all. A request that opens its connection costs `REQUEST_BYTES`; in a standing one a
    packet and its acknowledgement each way.
    """
    # nobody on the link is at the other end of what the server itself opens
    share = site.path.same_link_share_frac if task.through_entry else 0.0
    header = TCP_IPV4_BYTES + site.path.tunnel_overhead_bytes
    request = REQUEST_BYTES if task.fresh_connection else 2 * header
    once = crossing(site.path, task.flow, request)
    if service.local_name:
        return once.scaled(1 - share), once.scaled(0.0)
    return once, once.mirrored().scaled(share)


def background_share(background: Background, counted: str) -> float:
    """Part of a background cause that goes in "up", "down" or "both". [fraction]"""
    if counted == "both":
        return 1.0
    mine = {"up": "out", "down": "in"}[counted]
    return 0.5 if background.flow == "both" else float(background.flow == mine)


def service_open_frac(site: Site, service: Service) -> float:
    """Part of the day in which the server is up and the service may run. [fraction]"""
    return open_frac(common_part(site_intervals(site.hours), day_intervals(service.window)))


def miss_frac(service: Service, task: Task) -> float:
    """Part of the requests that no cache answers. [fraction]"""
    return 1.0 - effective_hit_frac(task.cache, service.n_users)


def task_bytes_per_day(site: Site, service: Service, task: Task, counted: str) -> float:
    """Mean bytes a day on the link of one task by all users. [bytes/day]"""
    if not service_open_frac(site, service):
        return 0.0
    one = sum(
        wire.factor(counted) * task.mean_bytes + wire.request_bytes(counted) * task.n_requests
        for wire in task_crossings(site, service, task)
    )
    return service.n_users * task.per_user_day * one * miss_frac(service, task)


def service_bytes_per_day(site: Site, service: Service, counted: str) -> float:
    """Mean bytes a day on the link of a service, held back by its rate limit. [bytes/day]"""
    wanted = sum(task_bytes_per_day(site, service, task, counted) for task in service.tasks)
    return min(wanted, limit_bytes_per_day(site, service, counted))


def limit_bytes_per_day(site: Site, service: Service, counted: str) -> float:
    """Most that the service's rate limit lets through in a day; inf without one. [bytes/day]"""
    if service.rate_limit_bps is None:
        return float("inf")
    ways = 2.0 if counted == "both" else 1.0
    open_s = SECONDS_PER_DAY * service_open_frac(site, service)
    return ways * service.rate_limit_bps * open_s / BITS_PER_BYTE


def mean_load_bps(site: Site, direction: str) -> float:
    """Mean rate that services and background ask of the link while the server is up. [bit/s]"""
    one_of("direction", direction, DIRECTIONS)
    up = open_frac(site_intervals(site.hours))
    if not up:
        return 0.0
    people = sum(service_bytes_per_day(site, service, direction) for service in site.services)
    machines = sum(
        up * cause.bytes_per_day * background_share(cause, direction) for cause in site.background
    )
    return (people + machines) * BITS_PER_BYTE / (SECONDS_PER_DAY * up)
