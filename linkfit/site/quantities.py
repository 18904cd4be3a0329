"""Texts of the site file to SI numbers: one annotated type per quantity.

A field typed `Rate` takes ``"512 kbit/s"`` and holds 512000.0; its JSON Schema says what an
editor should offer. Bare numbers are refused where a unit is needed: 18 could be ms or s.
"""

import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from linkfit.errors import InputError
from linkfit.site.hours import DayWindow
from linkfit.site.shown import shown
from linkfit.units import (
    parse_duration_s,
    parse_energy_wh,
    parse_power_w,
    parse_rate_bps,
    parse_size_bytes,
)

_NUMBER_PATTERN = r"^\d+(\.\d+)?([eE][+-]?\d+)?\s*"
_CLOCK = re.compile(r"(?P<h>\d{1,2}):(?P<m>[0-5]\d)")


def _quantity(
    parse: Callable[..., float], example: str, *, zero: bool = False, limit: bool = False
) -> BeforeValidator:
    """A validator that turns text with a unit into its SI number, and takes nothing else.

    `zero`: 0 is meant; `limit`: leaving the key out means no limit.
    """
    instead = "leave the key out for no limit" if limit else f"write it as {example!r}"

    def read(value: object) -> float:
        if not isinstance(value, str):
            raise InputError(
                f"expected a text with a number and a unit, got {shown(value)}; "
                f"write it as {example!r}"
            )
        number = parse(value, where="value")
        if not number < float("inf"):
            raise InputError(f"expected a finite value, got {value!r}; write it as {example!r}")
        if number == 0 and not zero:
            raise InputError(f"expected more than 0, got {value!r}; {instead}")
        return number

    return BeforeValidator(read)


def _text_schema(units: str, example: str) -> dict[str, Any]:
    """JSON Schema of a text with one of `units` (a regular expression)."""
    pattern = f"{_NUMBER_PATTERN}({units})$"
    return {"type": "string", "pattern": pattern, "examples": [example]}


def _schema(units: str, example: str) -> WithJsonSchema:
    return WithJsonSchema(_text_schema(units, example))


_BYTE_UNITS = "([kKMGT]i?)?B(ytes?)?"
_TIME_UNITS = "ns|us|µs|ms|s|seconds?|m|min|minutes?|h|hours?|d|days?|w|weeks?"
SIZE_SCHEMA = _text_schema(_BYTE_UNITS, "3.5 MB")

Rate = Annotated[
    float,
    _quantity(parse_rate_bps, "512 kbit/s"),
    _schema("[kKMGT]?(bit/s|bps)", "512 kbit/s"),
]
Size = Annotated[float, _quantity(parse_size_bytes, "3.5 MB"), _schema(_BYTE_UNITS, "3.5 MB")]
SizeLimit = Annotated[
    float,
    _quantity(parse_size_bytes, "100 MB", limit=True),
    _schema(_BYTE_UNITS, "100 MB"),
]
RateLimit = Annotated[
    float,
    _quantity(parse_rate_bps, "3 Mbit/s", limit=True),
    _schema("[kKMGT]?(bit/s|bps)", "3 Mbit/s"),
]
DurationLimit = Annotated[
    float, _quantity(parse_duration_s, "100 s", limit=True), _schema(_TIME_UNITS, "100 s")
]
SizeOrZero = Annotated[
    float, _quantity(parse_size_bytes, "60 B", zero=True), _schema(_BYTE_UNITS, "60 B")
]
Duration = Annotated[float, _quantity(parse_duration_s, "60 s"), _schema(_TIME_UNITS, "60 s")]
DurationOrZero = Annotated[
    float, _quantity(parse_duration_s, "18 ms", zero=True), _schema(_TIME_UNITS, "18 ms")
]
Energy = Annotated[float, _quantity(parse_energy_wh, "640 Wh"), _schema("k?Wh", "640 Wh")]
Power = Annotated[float, _quantity(parse_power_w, "13 W"), _schema("[mk]?W", "13 W")]
PowerOrZero = Annotated[
    float, _quantity(parse_power_w, "120 W", zero=True), _schema("[mk]?W", "120 W")
]


def _hour(text: str) -> float | None:
    """``"06:30"`` as 6.5; None for a text that is no time of day. [h]"""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hour = (int(match["h"]) * 60 + int(match["m"])) / 60
    return hour if hour <= 24 else None


def parse_window(text: object) -> DayWindow:
    """Read a part of the day such as ``"06:30-22:00"``; it may run past midnight."""
    hint = "write it as '06:30-22:00', local time"
    if not isinstance(text, str):
        raise InputError(f"expected a text with two times of day, got {shown(text)}; {hint}")
    start, _, end = text.replace("–", "-").partition("-")
    start_h, end_h = _hour(start), _hour(end)
    if start_h is None or end_h is None:
        raise InputError(f"expected two times of day from 00:00 to 24:00, got {text!r}; {hint}")
    if start_h == end_h:
        raise InputError(
            f"expected a start apart from the end, got {text!r} of zero length; "
            "for the whole day write '00:00-24:00'"
        )
    return DayWindow(start_h=start_h, end_h=end_h)


def _one_or_more(value: object) -> object:
    """A single window is a list of one; none at all is not what anybody means."""
    if value == []:
        raise InputError("expected at least one part of the day, got none; leave the key out")
    return value if isinstance(value, list | tuple) else [value]


_WINDOW_SCHEMA = {
    "type": "string",
    "pattern": r"^\d{1,2}:[0-5]\d\s*[-–]\s*\d{1,2}:[0-5]\d$",
    "examples": ["22:00-06:00"],
}
Window = Annotated[DayWindow, PlainValidator(parse_window), WithJsonSchema(_WINDOW_SCHEMA)]
Windows = Annotated[
    tuple[Window, ...],
    Field(strict=False),
    BeforeValidator(_one_or_more),
    WithJsonSchema(
        {"anyOf": [_WINDOW_SCHEMA, {"type": "array", "items": _WINDOW_SCHEMA, "minItems": 1}]}
    ),
]


def _zone(value: object) -> str:
    """The name of a time zone of the tz database."""
    hint = "use a name of the tz database such as 'Europe/Lisbon', or 'UTC'"
    if not isinstance(value, str):
        raise InputError(f"expected the name of a time zone, got {shown(value)}; {hint}")
    try:
        ZoneInfo(value)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(f"expected a known time zone, got {value!r}; {hint}") from error
    return value


TimeZone = Annotated[
    str,
    PlainValidator(_zone),
    WithJsonSchema({"type": "string", "examples": ["Europe/Lisbon", "UTC"]}),
]


def _day(value: object) -> date:
    """A TOML date: neither a text nor a date with a time."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    raise InputError(
        f"expected a date, got {shown(value)}; write 2026-07-31, without quotes or time"
    )


Day = Annotated[
    date,
    PlainValidator(_day),
    WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-07-31"]}),
]


def _label(value: object) -> str:
    """A name: some text with something to see in it, at most 200 characters."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(f"expected a text that is not empty, got {shown(value)}; give it a name")
    if len(value) > 200:
        raise InputError(
            f"expected at most 200 characters, got {len(value)} ({value[:20]!r}…); shorten it"
        )
    return value


Label = Annotated[
    str,
    PlainValidator(_label),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 200}),
]


def as_table(key: str, example: str) -> Callable[[Any], Any]:
    """A validator that reads ``"3.5 MB"`` as the table ``{ KEY = "3.5 MB" }``."""

    def read(value: object) -> object:
        if isinstance(value, str):
            return {key: value}
        if not isinstance(value, dict):
            raise InputError(f"expected a text or a table, got {shown(value)}; write {example}")
        return value

    return read
