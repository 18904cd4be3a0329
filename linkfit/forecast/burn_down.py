"""What is left of a backlog as days pass, with its interval."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.backlog_case import backlog_case
from linkfit.forecast.draws import Forecast
from linkfit.forecast.path_source import PathSource
from linkfit.forecast.shares import WAYS
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHARES_DONE = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnDown:
    """Days after which each share of a backlog has gone, one Forecast each [days]."""

    backlog: Backlog
    shares_done: tuple[float, ...]
    days: tuple[Forecast, ...]

    def left_frac(self) -> "NDArray[np.float64]":
        """What is left at each of them, as a share of the heap."""
        return 1.0 - np.array(self.shares_done)


def burn_down(
    site: Site,
    backlog: Backlog,
    link: PathSource,
    paths: Mapping[str, CapacityPaths],
    *,
    seed: int = 0,
    start: date | None = None,
    start_h: float = 0.0,
) -> BurnDown:
    """When a tenth, two tenths, ... and all of `backlog` have gone.

    Parameters
    ----------
    paths : mapping
        Futures of "up" and "down" made by `backlog_paths`, as for the forecast of its end.

    Notes
    -----
    Until a heap is gone, what it moves does not depend on its size. So the moment at which a
    share f of it has gone is the end of a heap f times as large in the same future, what still
    arrives being counted as in `forecast_backlog`; the last one is that forecast itself.
    """
    others = [one for one in site.backlogs if one.name != backlog.name]
    known = [one for one in others if set(WAYS[one.flow]) <= set(paths)]
    case = backlog_case(site, [backlog, *known], 0, link, paths, seed=seed, start=start,
                        start_h=start_h)  # fmt: skip
    heap = case.waiting[0].heap_bytes
    days = tuple(
        Forecast(draws=case.with_own(heap_bytes=share * heap).days(), unit="days", world=case.world)
        for share in SHARES_DONE
    )
    return BurnDown(backlog=backlog, shares_done=SHARES_DONE, days=days)
