"""Site: what is asked of the link, as frozen values; knows nothing of links.

`flow` is said from the server: "out" sends (link up), "in" receives (link down), "both" moves
the size each way. A client on the same link that uses the public name crosses it twice.
"""

import math
from dataclasses import dataclass, field
from datetime import date

from linkfit._checks import count, fraction, non_negative, one_of, positive
from linkfit.errors import InputError
from linkfit.site.hours import DayWindow, Hours
from linkfit.site.plan import Plan
from linkfit.site.prices import Prices

FLOWS = ("out", "in", "both")
ENTRIES = ("relay", "direct")
TUNNELS = ("udp", "tcp")
PRIORITIES = ("normal", "low")
CACHE_SCOPES = ("none", "browser", "shared")
IMAGE_FORMATS = ("jpeg", "webp")
IMAGE_ROLES = ("photo", "thumbnail")


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeLaw:
    """Payload sizes, lognormal: median [bytes] and geometric standard deviation (>= 1)."""

    median_bytes: float
    spread: float = 1.0

    def __post_init__(self) -> None:
        positive("median_bytes", self.median_bytes)
        if positive("spread", self.spread) < 1:
            raise InputError(
                f"spread: expected a geometric standard deviation >= 1, got {self.spread:g}"
            )

    @property
    def mean_bytes(self) -> float:
        """exp(mu + sigma^2 / 2) of the lognormal. [bytes]"""
        return self.median_bytes * math.exp(math.log(self.spread) ** 2 / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """The stored picture behind a task: long edge [px], encoder, quality (1 to 100), and role:
    "thumbnail" follows a service's `thumb_edge`, "photo" its `photo_edge`.
    """

    edge_px: int
    format: str = "jpeg"
    quality: int = 80
    role: str = "photo"

    def __post_init__(self) -> None:
        count("edge_px", self.edge_px, least=16)
        one_of("format", self.format, IMAGE_FORMATS)
        if count("quality", self.quality) > 100:
            raise InputError(f"quality: expected 1 to 100, got {self.quality}")
        one_of("role", self.role, IMAGE_ROLES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cache:
    """Who may keep the payload, for how long [s], and how often one object is asked for.

    `scope` "browser": each visitor keeps a copy; "shared": an edge cache may as well; "none":
    neither. `views_per_object_day` is how often ONE visitor asks for one object; a shared cache
    sees the requests of all visitors.
    """

    scope: str = "none"
    lifetime_s: float = 0.0
    views_per_object_day: float = 0.0

    def __post_init__(self) -> None:
        one_of("scope", self.scope, CACHE_SCOPES)
        non_negative("lifetime_s", self.lifetime_s)
        non_negative("views_per_object_day", self.views_per_object_day)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One thing people (or machines) do with a service.

    Parameters
    ----------
    size : SizeLaw
        Payload of ONE request. [bytes]
    n_requests : int
        Requests of one task: a page of 60 thumbnails has 60.
    per_user_day : float
        How often one user does it. [1/day]
    target_s : float or None
        The 95th percentile should stay within this. [s]
    remote_rate_bps : float or None
        The far end's own limit in the direction of the flow. [bit/s]
    duration_s : float
        > 0 for a stream or call that lasts: `size` spread over this time. [s]
    chunk_bytes : float or None
        Largest piece sent in one request; None: whole. [bytes]
    must_carry : bool
        The task is part of the service's promise; False for upkeep that may wait.
    fresh_connection : bool
        It opens a connection of its own; False where one stands (shell, chat, a running sync).
    live : bool
        It cannot be sent ahead of its time (calls): `target_s` bounds the one-way delay.
    through_entry : bool
        Clients come by the site's entry, so the relay's round trip and body limit hold; False
        where the server itself opens the connection (updates, backups).
    """

    name: str
    flow: str
    size: SizeLaw
    n_requests: int = 1
    per_user_day: float = 1.0
    target_s: float | None = None
    remote_rate_bps: float | None = None
    duration_s: float = 0.0
    chunk_bytes: float | None = None
    n_parallel: int = 1
    resumable: bool = False
    per_item_s: float = 0.0
    image: Image | None = None
    cache: Cache = field(default_factory=Cache)
    must_carry: bool = True
    fresh_connection: bool = True
    live: bool = False
    through_entry: bool = True
    source: str = "site file"

    def __post_init__(self) -> None:
        one_of("flow", self.flow, FLOWS)
        count("n_requests", self.n_requests)
        count("n_parallel", self.n_parallel)
        non_negative("per_user_day", self.per_user_day)
        non_negative("duration_s", self.duration_s)
        non_negative("per_item_s", self.per_item_s)
        for name in ("target_s", "remote_rate_bps", "chunk_bytes"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))

    @property
    def mean_bytes(self) -> float:
        """Mean payload of one task, all requests, before caches. [bytes]"""
        return self.size.mean_bytes * self.n_requests


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """A service with its users (or cameras, hosts, devices) and what they do.

    `rate_limit_bps` holds for each of its transfers (of a Backlog: for all together), so that
    its mean load is no more either; `local_name`: clients on the same link
    reach the server without crossing it; `window` limits when it runs. `priority` "low": what
    it sends waits in the site's own router while anything else is to be sent.
    """

    name: str
    kind: str
    n_users: int
    tasks: tuple[Task, ...]
    rate_limit_bps: float | None = None
    local_name: bool = False
    window: tuple[DayWindow, ...] = ()
    priority: str = "normal"

    def __post_init__(self) -> None:
        count("users", self.n_users, least=0)
        one_of("priority", self.priority, PRIORITIES)
        if self.rate_limit_bps is not None:
            positive("rate_limit", self.rate_limit_bps)


@dataclass(frozen=True, slots=True, kw_only=True)
class PathLimits:
    """How the server is reached and what that path refuses. Sizes in bytes, times in s.

    `tunnel` is what a tunnel runs over: "udp", or "tcp" for one of TLS.
    """

    entry: str = "direct"
    relay_rtt_s: float = 0.0
    tunnel_overhead_bytes: float = 0.0
    body_limit_bytes: float | None = None
    idle_timeout_s: float | None = None
    same_link_share_frac: float = 0.0
    keepalive_s: float | None = None
    mtu_bytes: float = 1500.0
    tunnel: str = "udp"

    def __post_init__(self) -> None:
        one_of("entry", self.entry, ENTRIES)
        one_of("tunnel", self.tunnel, TUNNELS)
        fraction("same_link_share", self.same_link_share_frac)
        for name in ("relay_rtt_s", "tunnel_overhead_bytes"):
            non_negative(name, getattr(self, name))
        for name in ("body_limit_bytes", "idle_timeout_s", "keepalive_s"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Background:
    """Traffic that nobody asked for, by cause: bytes a day, which way, and whether it can go."""

    name: str
    bytes_per_day: float
    flow: str = "both"
    optional: bool = True
    source: str = "site file"

    def __post_init__(self) -> None:
        non_negative("bytes_per_day", self.bytes_per_day)
        one_of("flow", self.flow, FLOWS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Backlog:
    """A heap of items to move once. per_item_s: fixed cost of each; resumable: a broken item
    goes on where it stopped; priority: lower goes first.
    """

    name: str
    n_items: int
    size: SizeLaw
    flow: str = "out"
    resumable: bool = True
    deadline: date | None = None
    per_item_s: float = 0.5
    n_parallel: int = 1
    chunk_bytes: float | None = None
    image: Image | None = None
    rate_limit_bps: float | None = None
    window: tuple[DayWindow, ...] = ()
    arrivals_per_day: float = 0.0
    priority: int = 1

    def __post_init__(self) -> None:
        count("items", self.n_items)
        one_of("flow", self.flow, FLOWS)
        non_negative("per_item_s", self.per_item_s)
        non_negative("arrivals_per_day", self.arrivals_per_day)
        for name in ("chunk_bytes", "rate_limit_bps"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Everything that is asked of the link; `what_if` tells what was set beside the file."""

    name: str
    timezone: str = "UTC"
    plan: Plan = field(default_factory=Plan)
    path: PathLimits = field(default_factory=PathLimits)
    hours: Hours = field(default_factory=Hours)
    prices: Prices = field(default_factory=Prices)
    services: tuple[Service, ...] = ()
    background: tuple[Background, ...] = ()
    backlogs: tuple[Backlog, ...] = ()
    what_if: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        names = [service.name for service in self.services]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise InputError(f"service: expected different names, got {twice[0]!r} twice")
