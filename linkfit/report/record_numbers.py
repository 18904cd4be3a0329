"""Numbers as they stand in records: rounded, null for unknown and for never."""

import math
from typing import TYPE_CHECKING

from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast

_DIGITS = 4  # more than any forecast from measurements can carry
_PROB_DECIMALS = 4


def number(value: float | None) -> float | None:
    """Rounded to four significant digits; None for unknown and for never."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{_DIGITS}g}")


def prob(value: float | None) -> float | None:
    """A probability, rounded; None for unknown."""
    return None if value is None else round(float(value), _PROB_DECIMALS)


def quantiles(forecast: "Forecast", suffix: str) -> dict[str, float | None]:
    """``{"p05_s": ..., "p50_s": ..., "p95_s": ...}`` for the suffix ``"_s"``."""
    found = forecast.quantile(QUANTILES)
    return {
        f"p{level * 100:02.0f}{suffix}": number(float(value))
        for level, value in zip(QUANTILES, found, strict=True)
    }
