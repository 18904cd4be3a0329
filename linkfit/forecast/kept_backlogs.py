"""Backlogs of one site and of its edits: none forecast twice, in a search not even nearly twice."""

from collections.abc import Hashable, Mapping
from typing import TYPE_CHECKING, Any

from linkfit.forecast.backlog import forecast_backlogs
from linkfit.forecast.demand import mean_load_bps
from linkfit.forecast.outcomes import BacklogForecast, DataForecast
from linkfit.forecast.path_source import backlog_paths
from linkfit.forecast.shares import WAYS
from linkfit.forecast.unanswered import unmeasured_backlog
from linkfit.site.model import Backlog, Site

if TYPE_CHECKING:
    from datetime import date

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

_Found = Mapping[str, BacklogForecast]


class KeptBacklogs:
    """Forecasts the backlogs of many sites on one link.

    Parameters
    ----------
    link : LinkModel
        Its futures over a cycle are drawn once.
    seed : int
        Of every draw.
    start : date, optional
        First day of the backlogs.
    data_kept : dict
        As `kept` of `forecast_data`.
    """

    def __init__(
        self, link: "LinkModel", *, seed: int, start: "date | None", data_kept: dict[Hashable, Any]
    ) -> None:
        self.link, self.seed, self.start, self._data_kept = link, seed, start, data_kept
        self._paths: dict[str, CapacityPaths] = {}
        self._found: dict[Hashable, _Found] = {}
        self._first: dict[Hashable, tuple[Mapping[str, float], _Found]] = {}

    def forecast(
        self, site: Site, data: DataForecast, *, binding: bool, apart_frac: float
    ) -> tuple[BacklogForecast, ...]:
        """Every backlog of `site`, in its order.

        Parameters
        ----------
        data : DataForecast
            What `site` uses in a cycle.
        binding : bool
            Also what holds each of them back.
        apart_frac : float
            Backlogs keep the days of the first site that had the same ones where the load
            beside them, as a share of the link, and the data beside them, as a share of the cap,
            differ by no more than this together.
        """
        if not site.backlogs:
            return ()
        known = self._known(site, data, binding, apart_frac)
        return tuple(
            known[one.name] if one.name in known else self._unmeasured(one)
            for one in site.backlogs
        )  # fmt: skip

    def _unmeasured(self, backlog: Backlog) -> BacklogForecast:
        ways = [way for way in WAYS[backlog.flow] if not self._is_measured(way)]
        return unmeasured_backlog(backlog, " and ".join(ways))

    def _is_measured(self, way: str) -> bool:
        return (self.link.up if way == "up" else self.link.down) is not None

    def _known(self, site: Site, data: DataForecast, binding: bool, apart_frac: float) -> _Found:
        if (site, binding) in self._found:
            return self._found[site, binding]
        loads = self._beside(site, data)
        what = (site.backlogs, site.hours, site.path, site.plan, binding)
        if apart_frac > 0 and what in self._first:
            seen, found = self._first[what]
            if sum(abs(share - seen[name]) for name, share in loads.items()) <= apart_frac:
                return found
        found = forecast_backlogs(
            site,
            self.link,
            self._paths_of(site),
            seed=self.seed,
            start=self.start,
            binding=binding,
            kept=self._data_kept,
        )
        self._found[site, binding] = found
        self._first.setdefault(what, (loads, found))
        return found

    def _paths_of(self, site: Site) -> "Mapping[str, CapacityPaths]":
        ways = self._ways(site)
        for way in ways:
            if way not in self._paths:
                self._paths |= backlog_paths(self.link, (way,), seed=self.seed)
        return {way: self._paths[way] for way in ways}

    def _ways(self, site: Site) -> list[str]:
        """Measured directions that the backlogs cross."""
        needed = {way for one in site.backlogs for way in WAYS[one.flow]}
        return sorted(way for way in needed if self._is_measured(way))

    def _beside(self, site: Site, data: DataForecast) -> dict[str, float]:
        """What else is asked of the ways they cross, as a share of the link, and of the cap."""
        loads = {
            way: mean_load_bps(site, way) / max(self.link.direction(way).mean_rate_bps, 1.0)
            for way in self._ways(site)
        }
        heaps = {f"backlog: {one.name}" for one in site.backlogs}
        others = [e for e in data.ledger if e.service or e.cause not in heaps]
        cap_bytes = data.cap_bytes or float("inf")
        loads["plan"] = sum(float(e.use.draws.mean()) for e in others) / cap_bytes
        return loads
