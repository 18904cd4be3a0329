"""The hour for which verdicts hold: which one it is, and what shares the link in it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.company import Company
from linkfit.forecast.hours import open_hours, site_intervals
from linkfit.forecast.load import EVEN_LOAD_FRAC, StreamClass
from linkfit.forecast.sharing import Beside, FlowClass
from linkfit.site.hours import Hours

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.futures import DirectionModel
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

LEAST_SHARE_FRAC = 0.05  # of a link that streams would fill: transfers still trickle


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


@dataclass(frozen=True, kw_only=True, eq=False)  # no slots: what it caches has its place
class BusyHour:
    """The link in the hour that verdicts hold for, and everything that shares it then.

    Parameters
    ----------
    paths : mapping of direction to CapacityPaths
        The whole capacity.
    classes : mapping of direction to tuple of FlowClass
        Transfers that share the direction.
    streams : mapping of direction to tuple of StreamClass
        Streams that share the direction.
    company : Company, optional
        What the others start around each run looked at; every task has its own if not given.
    """

    link: "LinkModel"
    paths: "Mapping[str, CapacityPaths]"
    classes: Mapping[str, tuple[FlowClass, ...]]
    streams: Mapping[str, tuple[StreamClass, ...]]
    company: Company | None = None

    def busy_frac(self, direction: str) -> float:
        """Share of the capacity that others use in the mean. [fraction]"""
        load = sum(flow.load_bps for flow in self.classes[direction])
        mean = self.paths[direction].mean_rate_bps
        return min(1.0, (load + self.stream_bps[direction]) / mean) if mean else 1.0

    @cached_property
    def stream_bps(self) -> Mapping[str, float]:
        """Mean rate of the streams that run in each direction. [bit/s]"""
        return {
            d: math.fsum(one.load_bps for one in streams) for d, streams in self.streams.items()
        }

    @cached_property
    def rates(self) -> tuple[tuple[str, float], ...]:
        """Mean capacity of each direction. [bit/s]"""
        return tuple(sorted((d, paths.mean_rate_bps) for d, paths in self.paths.items()))

    @cached_property
    def loads(self) -> tuple[tuple[str, FlowClass | StreamClass, float], ...]:
        """Direction, flow or stream, and share of the capacity of all that shares it."""
        rates = {d: max(rate_bps, 1.0) for d, rate_bps in self.rates}
        flows = ((d, one, one.load_bps / rates[d]) for d in rates for one in self.classes[d])
        streams = ((d, one, one.load_bps / rates[d]) for d in rates for one in self.streams[d])
        return (*flows, *streams)


def left_frac(paths: "CapacityPaths", taken_bps: float) -> float:
    """Share of the capacity that `taken_bps` leaves, at least a twentieth."""
    if taken_bps <= 0 or paths.mean_rate_bps <= 0:
        return 1.0
    return max(1.0 - taken_bps / paths.mean_rate_bps, LEAST_SHARE_FRAC)


def after_factor(hour: BusyHour, direction: str) -> float:
    """Share of the capacity that is left in an even hour of the day."""
    load_bps = sum(flow.load_bps for flow in hour.classes[direction])
    even_bps = EVEN_LOAD_FRAC * (load_bps + hour.stream_bps[direction])
    return left_frac(hour.paths[direction], even_bps)


def beside(hour: BusyHour, direction: str, flow: FlowClass, n: int) -> Beside | None:
    """The streams that each of `n` runs of `flow` meets; None where there are none.

    A run that lasts longer than the streams meets many of them in turn, and so their mean.
    """
    streams, paths = hour.streams[direction], hour.paths[direction]
    if not streams or not paths.mean_rate_bps:
        return None
    lasts_s = flow.mean_bits / (paths.mean_rate_bps * left_frac(paths, hour.stream_bps[direction]))
    live, taken, number = np.zeros((3, n))
    for one in streams:
        in_turn = math.sqrt(min(one.duration_s / max(lasts_s, 1e-9), 1.0))
        runs = one.n_running + in_turn * (_running(hour, one, n) - one.n_running)
        if one.live:
            live += one.rate_bps * runs
        else:
            taken += one.rate_bps * runs
            number += runs
    live_frac = np.minimum(live / paths.mean_rate_bps, 1.0 - LEAST_SHARE_FRAC)
    taken_frac = taken / paths.mean_rate_bps / (1.0 - live_frac)
    # a fair part of a twentieth at least, as beside live ones
    number = np.minimum(number, 1.0 / LEAST_SHARE_FRAC - 1.0)
    return Beside(live_frac=live_frac, taken_frac=taken_frac, n_streams=number)


def left_beside_frac(
    hour: BusyHour, direction: str, name: str, n: int, *, live: bool
) -> "NDArray[np.float64]":
    """Share of the capacity that each of `n` streams of `name` could use, shape (n,).

    It is not in its own way. Beside others that are not live it has a fair part at least, if it
    is not live itself.
    """
    mean_bps = max(hour.paths[direction].mean_rate_bps, 1.0)
    load_bps = sum(flow.load_bps for flow in hour.classes[direction])
    live_bps, taken_bps, number = np.zeros((3, n))
    for one in (stream.besides(name) for stream in hour.streams[direction]):
        runs = _running(hour, one, n)
        if one.live:
            live_bps += runs * one.rate_bps
        else:
            taken_bps += runs * one.rate_bps
            number += runs
    left = 1.0 - (load_bps + live_bps + taken_bps) / mean_bps
    fair = np.maximum(1.0 - (load_bps + live_bps) / mean_bps, LEAST_SHARE_FRAC) / (1.0 + number)
    return np.asarray(np.maximum(left, LEAST_SHARE_FRAC if live else fair))


def _running(hour: BusyHour, stream: StreamClass, n: int) -> "NDArray[np.float64]":
    """How many of `stream` each of `n` runs meets; the mean where no company is drawn."""
    if hour.company is None:
        return np.full(n, stream.n_running)
    return hour.company.running(stream.name, stream.n_running, stream.n_sources, n)
