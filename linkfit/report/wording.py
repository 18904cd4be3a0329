"""How numbers and directions are said, the same on every screen and in every figure."""

import math
from typing import TYPE_CHECKING

from linkfit._checks import one_of
from linkfit.units import format_duration, format_share, format_size

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast

QUANTILES = (0.05, 0.5, 0.95)
FLOW_WORDS = {
    "out": "out (the server sends: link up)",
    "in": "in (the server receives: link down)",
}
DIRECTION_WORDS = {"up": "up (server to internet)", "down": "down (internet to server)"}
_FLOW_DIRECTION = {"out": "up", "in": "down"}


def flow_direction(flow: str) -> str:
    """The direction of the link that a server's flow "out" or "in" uses."""
    return _FLOW_DIRECTION[one_of("flow", flow, tuple(_FLOW_DIRECTION))]


def amount(value: float, unit: str) -> str:
    """`value` of a Forecast's `unit` as a person writes it; infinity is "never"."""
    if unit == "s":
        return format_duration(value)
    if unit == "days":
        return format_duration(value * 86400.0)
    if unit == "bytes":
        return format_size(value)
    return "never" if math.isinf(value) else f"{value:.3g} {unit}"


def between(low: float, high: float, unit: str) -> str:
    """An interval, its unit said once where both ends share it: "3.2 to 4.1 s"."""
    first, last = amount(low, unit), amount(high, unit)
    if first == last:
        return first
    number, _, its_unit = first.rpartition(" ")
    if number and last.endswith(f" {its_unit}"):
        return f"{number} to {last}"
    return f"{first} to {last}"


def chance_text(prob: float) -> str:
    """A chance in percent; what all drawn futures do is no certainty."""
    return format_share(min(max(prob, 0.001), 0.999))


def between_chances(low: float, high: float) -> str:
    """An interval of chances: "62 to 71 %"."""
    first, last = chance_text(low), chance_text(high)
    return first if first == last else f"{first.removesuffix(' %')} to {last}"


def quantile_texts(forecast: "Forecast") -> tuple[str, str, str]:
    """The 5th, 50th and 95th percentile of `forecast`."""
    low, middle, high = (amount(float(q), forecast.unit) for q in forecast.quantile(QUANTILES))
    return low, middle, high


def how_sure(forecast: "Forecast", level: float) -> str:
    """The interval on the `level` quantile that comes from having measured little."""
    return between(*forecast.quantile_interval(level), forecast.unit)
