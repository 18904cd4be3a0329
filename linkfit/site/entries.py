"""The tables of the site file as pydantic models: what each key takes, in which unit.

The descriptions serve three readers: the JSON Schema for editors, the comments of the starter
file, and whoever changes this. Directions are said from the server.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainValidator, WithJsonSchema

from linkfit.errors import InputError
from linkfit.site.quantities import (
    Day,
    Duration,
    DurationOrZero,
    Energy,
    Label,
    Power,
    PowerOrZero,
    Rate,
    Size,
    SizeOrZero,
    TimeZone,
    Windows,
    as_table,
)
from linkfit.site.shown import shown
from linkfit.units import parse_rate_bps

Flow = Literal["out", "in", "both"]
Count = Annotated[int, Field(ge=1, le=10**9)]
Share = Annotated[float, Field(ge=0, le=1)]
Rarity = Annotated[float, Field(ge=0, le=1e9)]
Quality = Annotated[int, Field(ge=1, le=100)]
Edge = Annotated[int, Field(ge=16, le=100_000)]
Format = Literal["jpeg", "webp"]


class Entry(BaseModel):
    """One table: frozen, numbers taken as they are, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class SizeEntry(Entry):
    """A size that varies from item to item."""

    median: Size = Field(description="half of the items are smaller", examples=["3.5 MB"])
    spread: float = Field(
        1.0, ge=1, le=100, description="geometric standard deviation, 1 = all alike", examples=[1.6]
    )


SizeLawText = Annotated[
    SizeEntry,
    BeforeValidator(as_table("median", '"3.5 MB" or { median = "3.5 MB", spread = 1.6 }')),
]


class PhotoEntry(Entry):
    """The stored picture that is sent."""

    edge: Edge = Field(description="long edge in pixels", examples=[1440])
    format: Format = Field("jpeg", description="encoder", examples=["webp"])
    quality: Quality = Field(80, description="encoder quality, 1 to 100", examples=[80])
    role: Literal["photo", "thumbnail"] = Field("photo", description="what it is shown as")


class CacheEntry(Entry):
    """Who may keep a copy, and how often the same thing is asked for."""

    scope: Literal["none", "browser", "shared"] = Field(description="who may keep a copy")
    lifetime: DurationOrZero = Field(0.0, description="how long a copy stays fresh")
    views_per_object_day: Rarity = Field(
        0.0, description="how often one visitor asks for the same object in a day"
    )


class TaskEntry(Entry):
    """One thing people do with a service; a name of the kind changes that task, else a new one."""

    name: Label = Field(description="a task of the kind, or a new one")
    flow: Flow | None = Field(
        None,
        description="from the server: out = it sends, in = it receives, both = each way",
        examples=["in"],
    )
    size: SizeLawText | None = Field(
        None, description="of ONE request", examples=[{"median": "3.5 MB", "spread": 1.6}]
    )
    requests: Count | None = Field(None, description="requests of one task", examples=[60])
    per_user_day: Rarity | None = Field(
        None, description="how often one user does it in a day", examples=[40]
    )
    target: Duration | None = Field(
        None, description="19 of 20 should be done within this time", examples=["60 s"]
    )
    remote_rate: Rate | None = Field(
        None, description="limit of the far end's own link", examples=["8 Mbit/s"]
    )
    duration: DurationOrZero | None = Field(
        None, description="a stream or call lasts this long; the size spreads over it"
    )
    chunk: Size | None = Field(
        None, description="largest piece sent in one request", examples=["8 MB"]
    )
    parallel: Count | None = Field(None, description="requests at the same time", examples=[2])
    resumable: bool | None = Field(
        None, description="a broken transfer goes on where it stopped", examples=[True]
    )
    per_item: DurationOrZero | None = Field(
        None, description="fixed cost of each item", examples=["0.5 s"]
    )
    photo: PhotoEntry | None = Field(
        None, description="the picture sent; gives the size if `size` is left out"
    )
    cache: CacheEntry | None = Field(None, description="who may keep a copy")
    must_carry: bool | None = Field(
        None, description="false: the service is good without it", examples=[False]
    )
    fresh_connection: bool | None = Field(
        None, description="true: it opens a connection of its own", examples=[True]
    )
    live: bool | None = Field(
        None,
        description="true: a call, that cannot be sent ahead; target is its one-way delay",
        examples=[True],
    )


class ServiceEntry(Entry):
    """A service that people (or machines) use."""

    name: Label = Field(description="your own name for it", examples=["finds catalogue"])
    kind: Label = Field(description="brings the default tasks", examples=["photo-library"])
    users: Annotated[int, Field(ge=0, le=10**9)] | None = Field(
        None, description="how many users, visitors, cameras, hosts or devices", examples=[8]
    )
    only_listed_tasks: bool = Field(
        False, description="true: the tasks below only, not the rest of the kind", examples=[True]
    )
    photo_edge: Edge | None = Field(
        None, description="long edge of photos sent, in pixels", examples=[1440]
    )
    photo_quality: Quality | None = Field(
        None, description="encoder quality of photos and thumbnails, 1 to 100", examples=[80]
    )
    photo_format: Format | None = Field(
        None, description="encoder of photos sent", examples=["webp"]
    )
    thumb_edge: Edge | None = Field(
        None, description="long edge of thumbnails, in pixels", examples=[250]
    )
    browser_cache: DurationOrZero | None = Field(
        None, description="how long a visitor's browser may keep a copy", examples=["7 days"]
    )
    shared_cache: DurationOrZero | None = Field(
        None,
        description="how long a cache in front of all visitors may keep public content",
        examples=["7 days"],
    )
    video_rate: Rate | None = Field(
        None, description="rate of the main video; other videos go no faster", examples=["1 Mbit/s"]
    )
    rate_limit: Rate | None = Field(
        None, description="holds back the tasks that may wait", examples=["3 Mbit/s"]
    )
    window: Windows = Field(
        (), description="when its waiting tasks run, local time", examples=["22:00-06:00"]
    )
    chunk: Size | None = Field(
        None, description="largest piece of a file sent in one request", examples=["8 MB"]
    )
    parallel: Count | None = Field(None, description="files sent at the same time", examples=[2])
    local_name: bool = Field(
        False,
        description="true: clients on the same link reach the server without crossing it",
        examples=[True],
    )
    task: tuple[TaskEntry, ...] = Field((), strict=False, description="changed or added tasks")


class BacklogEntry(Entry):
    """A heap of items to move once."""

    name: Label = Field(description="your own name for it", examples=["season photos"])
    items: Count = Field(description="how many", examples=[4200])
    size: SizeLawText | None = Field(
        None, description="of one item", examples=[{"median": "3.5 MB", "spread": 1.6}]
    )
    flow: Flow = Field("out", description="from the server: out = it sends, in = it receives")
    resumable: bool = Field(True, description="a broken item goes on where it stopped")
    deadline: Day | None = Field(
        None, description="last day, local time, without quotes", examples=["2026-07-31"]
    )
    per_item: DurationOrZero = Field(0.5, description="fixed cost of each item")
    parallel: Count = Field(1, description="items at the same time")
    chunk: Size | None = Field(
        None, description="largest piece sent in one request", examples=["8 MB"]
    )
    photo: PhotoEntry | None = Field(
        None, description="the picture sent; gives the size if `size` is left out"
    )
    rate_limit: Rate | None = Field(None, description="goes no faster", examples=["3 Mbit/s"])
    window: Windows = Field((), description="when it runs, local time", examples=["22:00-06:00"])
    arrivals_per_day: Rarity = Field(0.0, description="new items that join each day")
    priority: Annotated[int, Field(ge=0, le=1000)] = Field(1, description="lower goes first")


class BackgroundEntry(Entry):
    """Traffic that nobody asked for; a name of a default cause changes that one."""

    name: Label = Field(description="the cause", examples=["name look-ups"])
    per_day: SizeOrZero | None = Field(
        None, description="bytes on the link in a day, both ways together", examples=["2 MB"]
    )
    per_month: SizeOrZero | None = Field(
        None, description="the same for 30 days; give one of the two", examples=["60 MB"]
    )
    flow: Flow | None = Field(
        None, description="from the server: out, in, or both (half each way)", examples=["both"]
    )
    optional: bool | None = Field(None, description="true: it can be switched off", examples=[True])


class SiteEntry(Entry):
    """The place."""

    name: Label = Field(description="name of the place", examples=["Kestrel Ridge dig"])
    timezone: TimeZone = Field(
        "UTC", description="of all local times in this file", examples=["Europe/Lisbon"]
    )


class AfterCap(BaseModel):
    """What the plan does once the cap is used up; both None: it stops."""

    model_config = ConfigDict(frozen=True)

    throttle_bps: float | None = None
    price_per_gb: float | None = None


def _after_cap(value: object) -> AfterCap:
    hint = 'write "512 kbit/s", "stop" or { price_per_GB = 4.0 }'
    if value == "stop":
        return AfterCap()
    if isinstance(value, str):
        try:
            rate_bps = parse_rate_bps(value)
        except InputError as error:
            raise InputError(
                f'expected a rate, "stop" or a price, got {value!r}; {hint}'
            ) from error
        if not 0 < rate_bps < float("inf"):
            raise InputError(f'expected a rate above 0, got {value!r}; for none write "stop"')
        return AfterCap(throttle_bps=rate_bps)
    if isinstance(value, dict) and set(value) == {"price_per_GB"}:
        price = value["price_per_GB"]
        if isinstance(price, int | float) and not isinstance(price, bool) and 0 <= price < 1e9:
            return AfterCap(price_per_gb=float(price))
        raise InputError(
            f"price_per_GB: expected a number from 0 to 1e9, got {shown(price)}; {hint}"
        )
    raise InputError(f'expected a rate, "stop" or a price, got {shown(value)}; {hint}')


class PlanEntry(Entry):
    """The data plan."""

    cap: Size | None = Field(
        None,
        description="data of one billing cycle, GB = 1e9 bytes, GiB = 2^30; none: leave out",
        examples=["60 GB"],
    )
    counted: Literal["both", "up", "down"] = Field(
        "both", description="which of the link's directions the plan counts"
    )
    cycle_day: Annotated[int, Field(ge=1, le=31)] = Field(
        1, description="day of the month on which the cycle starts", examples=[5]
    )
    after_cap: (
        Annotated[
            AfterCap,
            PlainValidator(_after_cap),
            WithJsonSchema(
                {
                    "anyOf": [
                        {"const": "stop"},
                        {"type": "string", "pattern": r"^\d+(\.\d+)?\s*[kKMGT]?(bit/s|bps)$"},
                        {
                            "type": "object",
                            "properties": {"price_per_GB": {"type": "number", "minimum": 0}},
                            "required": ["price_per_GB"],
                            "additionalProperties": False,
                        },
                    ]
                }
            ),
        ]
        | None
    ) = Field(
        None,
        description='once the cap is used up: a rate, "stop", or { price_per_GB = 4.0 }',
        examples=["512 kbit/s"],
    )


class PathEntry(Entry):
    """How the server is reached from outside, and what that way refuses."""

    entry: Literal["relay", "direct"] = Field(
        "direct", description="relay = the server holds a tunnel to a relay open; direct = none"
    )
    relay_rtt: DurationOrZero | None = Field(
        None, description="round trip between visitor's side and relay", examples=["18 ms"]
    )
    tunnel_overhead: SizeOrZero = Field(
        0.0, description="extra bytes on each packet", examples=["60 B"]
    )
    body_limit: Size | None = Field(
        None, description="largest request body the path carries", examples=["100 MB"]
    )
    idle_timeout: Duration | None = Field(
        None, description="the path drops what is silent for so long", examples=["100 s"]
    )
    same_link_share: Share = Field(
        0.0, description="share of the users who sit on the same link", examples=[0.4]
    )
    keepalive: Duration | None = Field(
        None, description="the tunnel says hello this often", examples=["25 s"]
    )
    mtu: Size = Field(1500.0, description="largest packet on the link", examples=["1420 B"])


class HoursEntry(Entry):
    """When the server is up by the clock."""

    up: Windows = Field(description="local time; may run past midnight", examples=["06:30-22:00"])


class PowerEntry(Entry):
    """When the server is up by battery and panel."""

    battery: Energy = Field(description="when full", examples=["640 Wh"])
    load: Power = Field(description="mean draw of server and modem", examples=["13 W"])
    panel: PowerOrZero = Field(0.0, description="rated power", examples=["120 W"])
    sun_hours: Annotated[float, Field(ge=0, le=24)] = Field(
        0.0, description="equivalent hours of full sun a day", examples=[3.5]
    )
    usable: Share = Field(0.85, description="share of the battery that may be used")
    panel_yield: Share = Field(0.6, description="share of the rated power that arrives")


class SiteFile(Entry):
    """A linkfit site file: what is asked of the link."""

    site: SiteEntry = Field(description="the place")
    plan: PlanEntry | None = Field(None, description="the data plan; left out: unmetered")
    path: PathEntry | None = Field(None, description="how the server is reached")
    hours: HoursEntry | None = Field(None, description="when the server is up, by the clock")
    power: PowerEntry | None = Field(None, description="when it is up, by battery and panel")
    service: tuple[ServiceEntry, ...] = Field((), description="what people use")
    background: tuple[BackgroundEntry, ...] = Field((), description="what nobody asked for")
    backlog: tuple[BacklogEntry, ...] = Field((), description="what is to be moved once")
