"""What the median of a transfer's forecast is made of."""

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths

_FINE_STEP_S = 2.0
_MIDDLE = (0.45, 0.55)  # draws that tell what the median is made of


def parts_s(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    wire_bits: float,
    times_s: "NDArray[np.float64]",
    trips: str,
    outage_frac: float,
) -> dict[str, float]:
    """What the draws around the median are made of, so that the parts add up to the median. [s]

    Parameters
    ----------
    starts_s, times_s : array, shape (d,)
        Start on each path and the time it took. [s]
    wire_bits : float
        What each carried, headers included. [bits]
    trips : str
        Name of what is neither capacity nor outage.
    outage_frac : float
        Share of measured seconds in an outage, for steps too long to show single ones. [fraction]
    """
    order = np.argsort(times_s, kind="stable")
    low = int(_MIDDLE[0] * (order.size - 1))
    middle = order[low : max(int(_MIDDLE[1] * order.size), low + 1)]
    median_s = float(np.quantile(times_s, 0.5, method="inverted_cdf"))
    if not np.isfinite(times_s[middle]).all():
        return {}
    begin, end = starts_s[middle], starts_s[middle] + times_s[middle]
    carried = paths.carried_bits(begin, middle)
    moving_s = paths.time_at_bits_s(carried + wire_bits, middle) - begin
    trips_s = float((times_s[middle] - moving_s).mean())
    if paths.step_s > _FINE_STEP_S or end.max() > paths.horizon_s:
        outages_s = outage_frac * float(moving_s.mean())
    else:
        outages_s = float(_outage_s(paths, middle, begin, end).mean())
    return {trips: trips_s, "outages": outages_s, "capacity": median_s - trips_s - outages_s}


def _outage_s(
    paths: "CapacityPaths",
    rows: "NDArray[np.int_]",
    begin_s: "NDArray[np.float64]",
    end_s: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Time between `begin_s` and `end_s` in steps that carry nothing. [s]"""
    dead = np.zeros((rows.size, paths.n_steps + 1))
    np.cumsum(np.diff(paths.cumulative_bits[rows], axis=1) == 0, axis=1, out=dead[:, 1:])
    edges = np.arange(paths.n_steps + 1) * paths.step_s
    return np.array([
        (np.interp(b, edges, row) - np.interp(a, edges, row)) * paths.step_s
        for row, a, b in zip(dead, begin_s, end_s, strict=True)
    ])  # fmt: skip
