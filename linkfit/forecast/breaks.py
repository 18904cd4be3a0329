"""How often transfers that cannot resume are broken: outages, and the end of each day's hours."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.path_source import PathSource, named_rng
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog
from linkfit.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

# what breaks a transfer that cannot resume where the path does not say it: common practice, the
# time that proxies wait between two reads
OUTAGE_S = 60.0
_OUTAGE_LOOK_S = 4 * SECONDS_PER_HOUR


def breaks_per_h(
    backlog: Backlog,
    link: PathSource,
    ways: Sequence[str],
    open_frac: "NDArray[np.float64]",
    step_h: float,
    seed: int,
    n_draws: int,
    timeout_s: float | None = None,
) -> "NDArray[np.float64]":
    """Breaks an hour of `backlog`'s transfers while they run; 0 where they resume. [1/h]

    `timeout_s` is the path's idle timeout, `OUTAGE_S` where it has none.
    """
    if backlog.resumable:
        return np.zeros(n_draws)
    outages_per_h = 0.0
    for way in ways:
        fine = link.paths(
            way,
            horizon_s=_OUTAGE_LOOK_S,
            n_draws=40,
            rng=named_rng(seed, "outages", way),
            n_worlds=20,
            step_s=1.0,
        )
        outages_per_h += outages_per_up_hour(fine, timeout_s or OUTAGE_S)
    shut = (open_frac[:, :-1] > 0) & (open_frac[:, 1:] == 0)
    open_h = open_frac.sum(axis=1) * step_h
    closings_per_h = shut.sum(axis=1) / np.maximum(open_h, 1.0)
    return np.broadcast_to(outages_per_h + closings_per_h, n_draws).copy()


def outages_per_up_hour(paths: CapacityPaths, timeout_s: float = OUTAGE_S) -> float:
    """Outages of at least `timeout_s` for each hour in which the link carries something. [1/h]"""
    down = paths.rates_bps < 1.0
    n_least = max(1, round(timeout_s / paths.step_s))
    begins = np.diff(down.astype(np.int8), axis=1, prepend=0) == 1
    n_outages = 0
    for row, step in np.argwhere(begins):
        n_outages += bool(down[row, step : step + n_least].all())
    up_h = float((~down).sum()) * paths.step_s / SECONDS_PER_HOUR
    return n_outages / max(up_h, 1.0)
