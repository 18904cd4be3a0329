"""Numbers said to the digits that their interval allows, in the unit a person would choose."""

import math
from typing import TYPE_CHECKING

from linkfit.units import (
    format_duration,
    format_energy,
    format_rate,
    format_share,
    format_size,
)

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.world_intervals import Estimate

_LEAST_DIGITS, _MOST_DIGITS = 2, 3
_SECONDS_PER_UNIT = {"s": 1.0, "days": 86400.0}


def digits_for(value: float, low: float, high: float) -> int:
    """Digits of `value` down to the first one that its interval leaves in doubt, 2 or 3.

    Notes
    -----
    Half the width of the interval has its first digit at some decimal place; digits of the value
    beyond that place say nothing. Common practice of measuring. Never fewer than two, so that a
    value does not seem to lie outside of its own interval.
    """
    doubt = (high - low) / 2.0
    if value == 0 or not math.isfinite(value) or not math.isfinite(doubt):
        return _LEAST_DIGITS
    if doubt <= 0:
        return _MOST_DIGITS
    places = math.floor(math.log10(abs(value))) - math.floor(math.log10(doubt))
    return min(max(places + 1, _LEAST_DIGITS), _MOST_DIGITS)


def said(value: float, unit: str, digits: int = 2) -> str:
    """`value` of "s", "days", "bytes", "bit/s", "Wh" or a plain unit, to `digits`."""
    if unit in _SECONDS_PER_UNIT:
        return format_duration(value * _SECONDS_PER_UNIT[unit], digits)
    if unit == "bytes":
        return format_size(value, digits)
    if unit == "Wh":
        return format_energy(value, digits)
    if unit == "bit/s":
        return format_rate(value, digits) if value else "0 bit/s"
    if math.isinf(value):
        return "never"
    return f"{float(f'{value:.{digits}g}'):.10g} {unit}".strip()  # 120, not 1.2e+02


def stated(value: float, unit: str) -> str:
    """A number that somebody stated, without digits that nobody did: 60 GB, not 60.0 GB."""
    number, _, its_unit = said(value, unit, 3).rpartition(" ")
    return f"{float(number):.10g} {its_unit}" if number else its_unit


def interval(low: float, high: float, unit: str, digits: int = 2) -> str:
    """Both ends of an interval, the unit said once where they share it."""
    first, last = said(low, unit, digits), said(high, unit, digits)
    if low <= 0 < high:  # an interval laid around little reaches below nothing: there is no such
        return f"0 to {last}"
    if first == last:
        return first
    number, _, its_unit = first.rpartition(" ")
    if number and last.endswith(f" {its_unit}"):
        return f"{number} to {last}"
    return f"{first} to {last}"


def with_interval(value: float, low: float, high: float, unit: str) -> str:
    """As in "5.9 s (5.2 to 7.4 s)"; alone where both ends say the same."""
    digits = digits_for(value, low, high)
    middle, ends = said(value, unit, digits), interval(low, high, unit, digits)
    return middle if ends == middle else f"{middle} ({ends})"


def spread(forecast: "Forecast") -> str:
    """The median of a forecast with its 5 % and 95 % points."""
    low, middle, high = (float(q) for q in forecast.quantile([0.05, 0.5, 0.95]))
    return with_interval(middle, low, high, forecast.unit)


def late_end(forecast: "Forecast", level: float = 0.95) -> str:
    """The `level` quantile with how uncertain it is because the link was measured little."""
    low, high = forecast.quantile_interval(level)
    return with_interval(float(forecast.quantile(level)), low, high, forecast.unit)


def share_range(found: "Estimate") -> str:
    """A share with its interval; what all drawn futures do is no certainty."""
    value, low, high = (
        format_share(min(max(share, 0.001), 0.999))
        for share in (found.value, found.low, found.high)
    )
    return value if low == high else f"{value} ({low.removesuffix(' %')} to {high})"
