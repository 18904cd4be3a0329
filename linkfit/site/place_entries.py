"""The tables that come once: the place, its data plan, its path and its hours."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from linkfit.errors import InputError
from linkfit.site.entry import Entry, Share
from linkfit.site.quantities import (
    Duration,
    DurationLimit,
    DurationOrZero,
    Energy,
    Label,
    Power,
    PowerOrZero,
    Size,
    SizeLimit,
    SizeOrZero,
    TimeZone,
    Windows,
)
from linkfit.site.shown import shown
from linkfit.site.sun import Losses, SunHours, SunHoursText
from linkfit.units import parse_rate_bps


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

    cap: SizeLimit | None = Field(
        None,
        description="data of one billing cycle, GB = 1e9 bytes, GiB = 2^30; none: leave out",
        examples=["60 GB"],
    )
    counted: Literal["both", "up", "down"] = Field(
        "both",
        description="which of the link's directions the plan counts: both, up or down",
        examples=["both"],
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
    tether: SizeLimit | None = Field(
        None,
        description="of it for a hotspot's clients, where the plan allows them less",
        examples=["30 GB"],
    )
    carry_over: SizeOrZero = Field(
        0.0,
        description="most unused data of a cycle that the next one keeps; none: leave out",
        examples=["20 GB"],
    )
    round_up: SizeLimit | None = Field(
        None, description="each session is counted in whole steps of", examples=["1 MB"]
    )
    sessions_per_day: Annotated[float, Field(ge=0, le=86_400)] | None = Field(
        None, description="sessions that are rounded up; about one an hour", examples=[24.0]
    )


class PathEntry(Entry):
    """How the server is reached from outside, and what that way refuses."""

    entry: Literal["relay", "direct"] = Field(
        "direct",
        description="relay = the server holds a tunnel to a relay open; direct = none",
        examples=["relay"],
    )
    relay_rtt: DurationOrZero | None = Field(
        None, description="round trip between visitor's side and relay", examples=["18 ms"]
    )
    tunnel_overhead: SizeOrZero = Field(
        0.0, description="extra bytes on each packet", examples=["60 B"]
    )
    body_limit: SizeLimit | None = Field(
        None, description="largest request body the path carries", examples=["100 MB"]
    )
    idle_timeout: DurationLimit | None = Field(
        None, description="the path drops what is silent for so long", examples=["100 s"]
    )
    same_link_share: Share = Field(
        0.0, description="share of the users who sit on the same link", examples=[0.4]
    )
    keepalive: Duration | None = Field(
        None, description="the tunnel says hello this often", examples=["25 s"]
    )
    mtu: Size = Field(1500.0, description="largest packet on the link", examples=["1420 B"])
    tunnel: Literal["udp", "tcp"] = Field(
        "udp", description="what the tunnel runs over; tcp for one of TLS", examples=["tcp"]
    )


class HoursEntry(Entry):
    """When the server is up by the clock."""

    up: Windows = Field(description="local time; may run past midnight", examples=[["06:30-22:00"]])


class PowerEntry(Entry):
    """When the server is up by battery and panel."""

    battery: Energy = Field(description="when full", examples=["640 Wh"])
    load: Power = Field(description="mean draw of server and modem", examples=["13 W"])
    load_busy: Power | None = Field(
        None, description="draw while the link sends at full rate", examples=["16 W"]
    )
    panel: PowerOrZero = Field(0.0, description="rated power", examples=["120 W"])
    sun_hours: SunHoursText = Field(
        SunHours(),
        description="equivalent hours of full sun a day; or twelve, January first; or by month",
        examples=[3.5],
    )
    usable: Share = Field(
        0.85, description="share of the battery that may be used", examples=[0.85]
    )
    panel_yield: Share = Field(
        0.6, description="share of the rated power that arrives", examples=[0.6]
    )
    losses: Losses | None = Field(
        None,
        description="in place of panel_yield: share lost to each cause, the rest as usual",
        examples=[{"shading": 0.1}],
    )
    charger: Share = Field(
        1.0, description="efficiency of the charge controller, if not in the above", examples=[0.95]
    )
    inverter: Share = Field(
        1.0, description="efficiency of the converter or inverter to the load", examples=[0.96]
    )
