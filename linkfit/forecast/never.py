"""Why a backlog never finishes, in plain words."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.constraints import Case
from linkfit.units import format_rate, format_share, format_size

if TYPE_CHECKING:
    from numpy.typing import NDArray

_RARE_FRAC = 0.05  # fewer futures than this without an end are not told


def why_never(case: Case, days: "NDArray[np.float64]") -> str:
    """Why it never ends in some futures; "" where it ends in 19 of 20."""
    lost = np.isinf(days)
    share = float(np.mean(lost))
    if share <= _RARE_FRAC:
        return ""
    often = (
        "never finishes" if share == 1 else f"never finishes in {format_share(share)} of futures"
    )
    return f"{often}: {_reason(case, lost)}"


def _reason(case: Case, lost: "NDArray[np.bool_]") -> str:
    own = case.waiting[case.own]
    if not (own.open_frac > 0).any():
        return "its hours and the hours in which the server is up have no minute in common"
    rates = [case.rate_bps[way][lost] for way in case.ways()]
    if any(not (rate > 0).any() for rate in rates):
        return "the link carries nothing in its direction"
    can = case.long_run_bytes_per_day()[lost]
    low, middle, high = np.quantile(can, (0.05, 0.5, 0.95), method="inverted_cdf")
    moves = f"{_a_day(middle)} (90 %: {_a_day(low)} to {_a_day(high)})"
    if own.arrivals_bytes_per_day:
        joins = _a_day(own.arrivals_bytes_per_day)
        return f"new items bring {joins}, and all that holds it back leaves it {moves}"
    if np.isfinite(case.cap_bytes) and middle <= 0:
        used = float(np.median(case.others_bytes[..., lost])) * case.n_steps
        return (
            f"services and background use {format_size(used)} a cycle and the plan has "
            f"{format_size(case.cap_bytes)}: nothing is left for it"
        )
    if not own.backlog.resumable and (own.breaks_per_h > 0).any():
        breaks = float(np.median(own.breaks_per_h[lost]))
        return (
            f"its transfers cannot resume and are broken {breaks:.2g} times an hour, too often "
            f"for pieces of this size at {format_rate(float(np.median(rates[0])))}"
        )
    return f"all that holds it back leaves it {moves}"


def _a_day(size_bytes: float) -> str:
    return f"{format_size(float(size_bytes))} a day"
