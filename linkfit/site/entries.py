"""The tables that people repeat (services, tasks, backlogs, background), and the whole file.

The descriptions serve three readers: the JSON Schema for editors, the comments of the starter
file, and whoever changes this. Directions are said from the server.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from linkfit.site.entry import Count, Edge, Entry, Flow, Format, Priority, Quality, Rarity
from linkfit.site.place_entries import HoursEntry, PathEntry, PlanEntry, PowerEntry, SiteEntry
from linkfit.site.price_entries import PricesEntry
from linkfit.site.quantities import (
    SIZE_SCHEMA,
    Day,
    Duration,
    DurationOrZero,
    Label,
    Rate,
    RateLimit,
    Size,
    SizeLimit,
    SizeOrZero,
    Windows,
    as_table,
)


class SizeEntry(Entry):
    """A size that varies from item to item."""

    median: Size = Field(description="half of the items are smaller", examples=["3.5 MB"])
    spread: float = Field(
        1.0, ge=1, le=100, description="geometric standard deviation, 1 = all alike", examples=[1.6]
    )


SizeLawText = Annotated[
    SizeEntry,
    BeforeValidator(as_table("median", '"3.5 MB" or { median = "3.5 MB", spread = 1.6 }')),
    WithJsonSchema(
        {
            "anyOf": [
                SIZE_SCHEMA,
                {
                    "type": "object",
                    "properties": {
                        "median": SIZE_SCHEMA,
                        "spread": {"type": "number", "minimum": 1, "maximum": 100},
                    },
                    "required": ["median"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


class PhotoEntry(Entry):
    """The stored picture that is sent."""

    edge: Edge = Field(description="long edge in pixels", examples=[1440])
    format: Format = Field("jpeg", description="encoder", examples=["webp"])
    quality: Quality = Field(80, description="encoder quality, 1 to 100", examples=[80])
    role: Literal["photo", "thumbnail"] = Field(
        "photo", description="what it is shown as", examples=["photo"]
    )


class CacheEntry(Entry):
    """Who may keep a copy, and how often the same thing is asked for."""

    scope: Literal["none", "browser", "shared"] = Field(
        description="who may keep a copy", examples=["browser"]
    )
    lifetime: DurationOrZero = Field(
        0.0, description="how long a copy stays fresh", examples=["7 days"]
    )
    views_per_object_day: Rarity = Field(
        0.0, description="how often one visitor asks for the same object in a day", examples=[0.5]
    )


class TaskEntry(Entry):
    """One thing people do with a service; a name of the kind changes that task, else a new one."""

    name: Label = Field(description="a task of the kind, or a new one", examples=["look at a plan"])
    flow: Flow | None = Field(
        None,
        description="from the server: out = it sends, in = it receives, both = each way",
        examples=["in"],
    )
    size: SizeLawText | None = Field(
        None, description="of ONE request", examples=[{"median": "3.5 MB", "spread": 1.6}]
    )
    requests: Count | None = Field(None, description="requests of one task", examples=[3])
    per_user_day: Rarity | None = Field(
        None, description="how often one user does it in a day", examples=[40]
    )
    target: Duration | None = Field(
        None, description="19 of 20 should be done within this time", examples=["60 s"]
    )
    remote_rate: RateLimit | None = Field(
        None, description="limit of the far end's own link", examples=["8 Mbit/s"]
    )
    duration: DurationOrZero | None = Field(
        None,
        description="a stream or call lasts this long; the size spreads over it",
        examples=["0 s"],
    )
    chunk: SizeLimit | None = Field(
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
        None,
        description="the picture sent; gives the size if `size` is left out",
        examples=[{"edge": 1440, "format": "jpeg", "quality": 80}],
    )
    cache: CacheEntry | None = Field(
        None,
        description="who may keep a copy: none, browser or shared",
        examples=[{"scope": "browser", "lifetime": "7 days", "views_per_object_day": 0.5}],
    )
    must_carry: bool | None = Field(
        None, description="false: the service is good without it", examples=[False]
    )
    fresh_connection: bool | None = Field(
        None, description="true: it opens a connection of its own", examples=[True]
    )
    live: bool | None = Field(
        None,
        description="true: a call, that cannot be sent ahead; target is its one-way delay",
        examples=[False],
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
    rate_limit: RateLimit | None = Field(
        None, description="each transfer of the service goes no faster", examples=["3 Mbit/s"]
    )
    priority: Priority = Field(
        "normal",
        description="low: what it sends waits in your router while anything else is to be sent",
        examples=["low"],
    )
    window: Windows = Field(
        (), description="when its waiting tasks run, local time", examples=["20:00-06:00"]
    )
    chunk: SizeLimit | None = Field(
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
    flow: Flow = Field(
        "out",
        description="from the server: out = it sends, in = it receives",
        examples=["out"],
    )
    resumable: bool = Field(
        True, description="a broken item goes on where it stopped", examples=[True]
    )
    deadline: Day | None = Field(
        None, description="last day, local time, without quotes", examples=[date(2026, 7, 31)]
    )
    per_item: DurationOrZero = Field(0.5, description="fixed cost of each item", examples=["0.5 s"])
    parallel: Count = Field(1, description="items at the same time", examples=[1])
    chunk: SizeLimit | None = Field(
        None, description="largest piece sent in one request", examples=["8 MB"]
    )
    photo: PhotoEntry | None = Field(
        None,
        description="the picture sent; gives the size if `size` is left out",
        examples=[{"edge": 1440, "format": "jpeg", "quality": 80}],
    )
    rate_limit: RateLimit | None = Field(
        None, description="all its transfers together go no faster", examples=["3 Mbit/s"]
    )
    window: Windows = Field((), description="when it runs, local time", examples=["20:00-06:00"])
    arrivals_per_day: Rarity = Field(0.0, description="new items that join each day", examples=[20])
    priority: Annotated[int, Field(ge=0, le=1000)] = Field(
        1, description="lower goes first", examples=[1]
    )


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


class SiteFile(Entry):
    """A linkfit site file: what is asked of the link."""

    site: SiteEntry = Field(description="the place")
    plan: PlanEntry | None = Field(None, description="the data plan; left out: unmetered")
    path: PathEntry | None = Field(None, description="how the server is reached")
    hours: HoursEntry | None = Field(None, description="when the server is up, by the clock")
    power: PowerEntry | None = Field(None, description="when it is up, by battery and panel")
    prices: PricesEntry | None = Field(None, description="what may be bought, at your own prices")
    service: tuple[ServiceEntry, ...] = Field((), description="what people use")
    background: tuple[BackgroundEntry, ...] = Field((), description="what nobody asked for")
    backlog: tuple[BacklogEntry, ...] = Field((), description="what is to be moved once")
