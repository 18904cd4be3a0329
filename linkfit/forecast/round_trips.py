"""Round trips that the runs of one task meet, drawn once for any load of the link."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.latency_unknowns import NOT_MEASURED, draw_unknowns
from linkfit.forecast.sharing import spread_rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundTrips:
    """Idle and busy round trips of the same runs, arrays of shape (n,).

    Parameters
    ----------
    idle_s : array
        With nobody else on the link. [s]
    busy_from_prob : array
        A run meets busy round trips where its direction is busy for more of the time than this.
    ways : mapping of direction to (array, array)
        Busy round trips [s], and the factor by which all of them may be off in a run's world.
    """

    idle_s: "NDArray[np.float64]"
    busy_from_prob: "NDArray[np.float64]"
    ways: "Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]]"

    @classmethod
    def draw(
        cls,
        link: "LinkModel",
        paths: "Mapping[str, CapacityPaths]",
        ways: Sequence[str],
        n: int,
        rng: np.random.Generator,
    ) -> "RoundTrips":
        """Draw `n` runs for the directions `ways` of `paths`.

        Notes
        -----
        Busy ones that nobody measured wait behind a queue of common practice, and few probes
        leave the level of all of them open: both are drawn once a world. Where busy ones were
        seen to depend on the rate, a future whose hour is slow has the longer ones.
        """
        idle_s = link.draw_rtts_s(n, rng)
        same = copy.deepcopy(rng)  # the same probes for each way, which differ by its rates alone
        link.draw_rtts_s(n, rng, loaded=True)
        prob = rng.random(n)
        # a child generator, the same for each way: what is drawn after this stays what it was
        child = rng.spawn(1)[0] if ways else rng
        found = {}
        for way in ways:
            rows = spread_rows(paths[way], n)
            rates_bps = paths[way].cumulative_bits[rows, -1] / paths[way].horizon_s
            busy_s = link.draw_rtts_s(
                n, copy.deepcopy(same), loaded=True, rates_bps=rates_bps, direction=way
            )
            unknowns = draw_unknowns(link, way, paths[way].world, copy.deepcopy(child))
            if unknowns.queue_source == NOT_MEASURED:
                mean_bps = max(link.direction(way).mean_rate_bps, 1.0)
                busy_s = idle_s + unknowns.queue_bits[rows] / mean_bps
            found[way] = np.maximum(idle_s, busy_s), unknowns.rtt_factor[rows]
        return cls(idle_s=idle_s, busy_from_prob=prob, ways=found)

    def met_s(self, busy_frac: Mapping[str, float]) -> "NDArray[np.float64]":
        """Round trips where each direction is busy for its `busy_frac` of the time. [s]"""
        if not self.ways:
            return self.idle_s
        met = [
            np.where(self.busy_from_prob < busy_frac[way], busy_s, self.idle_s) * factor
            for way, (busy_s, factor) in self.ways.items()
        ]
        # the slower of two, not that of the busier: taking load away must not change places
        return np.asarray(np.max(met, axis=0), dtype=np.float64)
