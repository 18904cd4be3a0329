"""Numbers with their interval over the worlds, as a person reads them."""

import math
from typing import TYPE_CHECKING

from linkfit.report.wording import QUANTILES, amount, between
from linkfit.units import format_rate, format_share

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.world_intervals import Estimate


def share_texts(found: "Estimate") -> tuple[str, str]:
    """A share and its interval; what all drawn futures do is no certainty."""
    value, low, high = (
        format_share(min(max(share, 0.001), 0.999))
        for share in (found.value, found.low, found.high)
    )
    return value, low if low == high else f"{low.removesuffix(' %')} to {high}"


def share_text(found: "Estimate") -> str:
    """A share with its interval in one text."""
    return _both(*share_texts(found))


def rate_texts(found: "Estimate") -> tuple[str, str]:
    """A rate and its interval; infinity is "no limit"."""
    low, high = _rate(found.low), _rate(found.high)
    unit = high.rpartition(" ")[2]
    first = low.removesuffix(f" {unit}") if low.endswith(f" {unit}") else low
    return _rate(found.value), low if low == high else f"{first} to {high}"


def rate_text(found: "Estimate") -> str:
    """A rate with its interval in one text."""
    return _both(*rate_texts(found))


def spread_text(forecast: "Forecast") -> str:
    """The median of a forecast with its 5 and 95 % points in one text."""
    low, middle, high = (float(q) for q in forecast.quantile(QUANTILES))
    return _both(amount(middle, forecast.unit), between(low, high, forecast.unit))


def _both(value: str, interval: str) -> str:
    return value if interval == value else f"{value} ({interval})"


def _rate(rate_bps: float) -> str:
    if rate_bps == 0:
        return "0"
    return "no limit" if math.isinf(rate_bps) else format_rate(rate_bps)
