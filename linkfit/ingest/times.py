"""Times in a table to seconds since 1970 UTC: ISO text, epoch numbers, or seconds of a run."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from linkfit.ingest.header import TIME_UNITS

# A number names its own unit by its size: 1990 to 2100 lies in these ranges and no others.
_EPOCH_FIRST_S, _EPOCH_LAST_S = 631_152_000.0, 4_102_444_800.0


_ZONE = re.compile(r"\d:\d\d.*(?:[Zz]|[+-]\d\d(?::?\d\d)?)$")  # after a time of day


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeKind:
    """How a column writes time: `factor_s` for numbers (None: ISO text), and if it is a clock."""

    factor_s: float | None
    is_clock: bool
    has_zone: bool = True


def tell_time_kind(cells: list[str], unit: str | None) -> TimeKind | None:
    """What the first `cells` of a time column show; None if they are no times.

    `unit` is what the header or the caller says; without it, the size of an epoch number
    tells whether it counts s, ms, us or ns, and a small number is seconds of a run.
    """
    cells = [cell for cell in cells if cell]
    if not cells:
        return None
    try:
        numbers = np.array([float(cell) for cell in cells])
    except ValueError:
        parsed = pd.to_datetime(pd.Series(cells), format="ISO8601", errors="coerce", utc=True)
        if parsed.isna().mean() > 0.5:  # one damaged cell does not make it another kind
            return None
        return TimeKind(factor_s=None, is_clock=True, has_zone=_has_zone(cells[0]))
    middle = float(np.median(numbers))
    if unit is not None and unit in TIME_UNITS:
        factor_s = TIME_UNITS[unit]
        is_clock = _EPOCH_FIRST_S <= middle * factor_s <= _EPOCH_LAST_S
        return TimeKind(factor_s=factor_s, is_clock=is_clock)
    for factor_s in (1.0, 1e-3, 1e-6, 1e-9):
        if _EPOCH_FIRST_S <= middle * factor_s <= _EPOCH_LAST_S:
            return TimeKind(factor_s=factor_s, is_clock=True)
    return TimeKind(factor_s=1.0, is_clock=False)


def _has_zone(cell: str) -> bool:
    return _ZONE.search(cell.strip()) is not None


def to_seconds(
    values: "pd.Series[str] | pd.Series[float]", kind: TimeKind, zone: str
) -> NDArray[np.float64]:
    """Seconds of each value, NaN where it is no time. [s]

    A time without zone that `zone` has twice (clocks set back) is taken as the first of the
    two if the rows around it do not tell, and one that `zone` never had is moved forward.
    """
    if kind.factor_s is not None:
        if values.dtype != np.float64:
            values = pd.to_numeric(values, errors="coerce")
        numbers = values.to_numpy(np.float64)
        if kind.factor_s == 1:
            return numbers
        if kind.factor_s < 1:  # dividing keeps 1700000000123 ms nearer than times 0.001
            return numbers / round(1 / kind.factor_s)
        return numbers * kind.factor_s
    if kind.has_zone:
        parsed = pd.to_datetime(values, format="ISO8601", errors="coerce", utc=True)
    else:
        parsed = pd.to_datetime(values, format="ISO8601", errors="coerce")
        parsed = _localised(parsed, zone)
    stamps = parsed.dt.tz_convert("UTC").dt.tz_localize(None).astype("datetime64[us]")
    seconds = stamps.to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6
    return np.where(parsed.isna().to_numpy(), np.nan, seconds)


def _localised(naive: "pd.Series[pd.Timestamp]", zone: str) -> "pd.Series[pd.Timestamp]":
    try:
        return naive.dt.tz_localize(zone, ambiguous="infer", nonexistent="shift_forward")
    except ValueError:  # pandas: the rows do not tell which of the two hours is meant
        first = np.ones(len(naive), dtype=bool)
        return naive.dt.tz_localize(zone, ambiguous=first, nonexistent="shift_forward")
