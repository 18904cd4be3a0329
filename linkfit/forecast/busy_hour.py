"""The hour of the day for which verdicts hold: the slowest one that was measured."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.hours import open_hours, site_intervals
from linkfit.site.hours import Hours

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.futures import DirectionModel
    from linkfit.link.model import LinkModel


def slowest_hour(link: "LinkModel", hours: Hours) -> int | None:
    """Local hour (0 to 23) with the lowest daily factor of either direction; None: none known.

    Only hours count in which the server is up and that were measured in that direction for more
    than some minutes of one visit. Where no daily pattern was found there is no slowest hour.
    People are taken to be busiest then as well: the cautious reading, since evening congestion
    comes from the same habits.
    """
    opened = open_hours(site_intervals(hours), np.arange(25.0))
    is_open = np.diff(opened) > 0
    lowest: tuple[float, int] | None = None
    for model in (link.up, link.down):
        if model is None or not model.daily.found:
            continue
        lowest = min(filter(None, (lowest, _lowest(model, is_open))), default=None)
    return None if lowest is None else lowest[1]


def _lowest(model: "DirectionModel", is_open: "NDArray[np.bool_]") -> tuple[float, int] | None:
    """The lowest factor among usable hours, and its hour."""
    known = np.array(model.daily.hours_known, dtype=np.int64)
    usable = known[is_open[known]]
    if not usable.size:
        return None
    hour = int(usable[np.argmin(model.daily.factor[usable])])
    return float(model.daily.factor[hour]), hour
