"""Sun and losses of a panel as a site file says them: by month, and cause by cause."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator, WithJsonSchema

from linkfit.errors import InputError
from linkfit.site.hours import MONTHS
from linkfit.site.shown import shown

_LEAST_LETTERS = 3  # no two months share them
MONTH_NAMES = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
# shares that a usual plant loses: the default of a public calculator of a national laboratory,
# whose total was read; its list of causes is a value from memory
USUAL_LOSSES: Mapping[str, float] = MappingProxyType({
    "soiling": 0.02, "shading": 0.03, "snow": 0.0, "mismatch": 0.02, "wiring": 0.02,
    "connections": 0.005, "light_degradation": 0.015, "nameplate": 0.01, "age": 0.0,
    "availability": 0.03,
})  # fmt: skip


def total_loss_frac(losses: Mapping[str, float]) -> float:
    """Share lost to all of `losses` one after the other: 1 - product of (1 - loss)."""
    kept = 1.0
    for loss_frac in losses.values():
        kept *= 1.0 - loss_frac
    return 1.0 - kept


class SunHours(BaseModel):
    """Equivalent hours of full sun: of a mean day of the year, and of each month if known."""

    model_config = ConfigDict(frozen=True)

    mean_h: float = 0.0
    by_month_h: tuple[float, ...] = ()


def _sun_hours(value: object) -> SunHours:
    hint = "write 3.5, twelve numbers, or { january = 1.2, … december = 1.0 }"
    if isinstance(value, dict):
        unknown = [name for name in value if name not in MONTH_NAMES]
        missing = [name for name in MONTH_NAMES if name not in value]
        if unknown or missing:
            got = f"the unknown {shown(unknown[0])}" if unknown else f"no {missing[0]}"
            raise InputError(f"expected the twelve months, got {got}; {hint}")
        value = [value[name] for name in MONTH_NAMES]
    if isinstance(value, list | tuple):
        if len(value) != MONTHS:
            raise InputError(f"expected twelve numbers, got {len(value)}; {hint}")
        hours = tuple(_hours(number, hint) for number in value)
        return SunHours(mean_h=sum(hours) / MONTHS, by_month_h=hours)
    return SunHours(mean_h=_hours(value, hint))


def _hours(value: object, hint: str) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 24:
        return float(value)
    raise InputError(f"expected hours from 0 to 24, got {shown(value)}; {hint}")


def _losses(value: object) -> dict[str, float]:
    """All causes: the usual shares, but for those that the file names."""
    hint = "write { shading = 0.1 }; the causes left out have their usual share"
    if not isinstance(value, dict):
        raise InputError(f"expected a table of losses, got {shown(value)}; {hint}")
    losses = dict(USUAL_LOSSES)
    for name, share in value.items():
        if name not in losses:
            known = ", ".join(losses)
            raise InputError(f"expected one of {known}, got {shown(name)}; {hint}")
        if isinstance(share, bool) or not isinstance(share, int | float) or not 0 <= share <= 1:
            raise InputError(f"{name}: expected a share from 0 to 1, got {shown(share)}; {hint}")
        losses[name] = float(share)
    return losses


def _table_schema(names: "tuple[str, ...]", most: int, *, all_needed: bool) -> dict[str, Any]:
    number = {"type": "number", "minimum": 0, "maximum": most}
    schema: dict[str, Any] = {
        "type": "object",
        "properties": dict.fromkeys(names, number),
        "additionalProperties": False,
    }
    return schema | {"required": list(names)} if all_needed else schema


_NUMBER = {"type": "number", "minimum": 0, "maximum": 24}
SunHoursText = Annotated[
    SunHours,
    PlainValidator(_sun_hours),
    WithJsonSchema({
        "anyOf": [
            _NUMBER,
            {"type": "array", "items": _NUMBER, "minItems": MONTHS, "maxItems": MONTHS},
            _table_schema(MONTH_NAMES, 24, all_needed=True),
        ]
    }),
]  # fmt: skip
Losses = Annotated[
    dict[str, float],
    PlainValidator(_losses),
    WithJsonSchema(_table_schema(tuple(USUAL_LOSSES), 1, all_needed=False)),
]


def month_number(text: str, *, where: str) -> int:
    """1 to 12 of a month's name ("december", "dec") or number."""
    name = text.strip().lower()
    if name.isdigit() and 1 <= int(name) <= MONTHS:
        return int(name)
    for number, month in enumerate(MONTH_NAMES, start=1):
        if len(name) >= _LEAST_LETTERS and month.startswith(name):
            return number
    raise InputError(f"{where}: expected a month as december or 12, got {text!r}")
