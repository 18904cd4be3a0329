"""What the link carries of uploads, and from it the size of a piece and how many at once.

The short part of `linkfit.forecast.uploads`: enough for a recommendation, without sending anything.
"""

import math
import zlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.chunks import ChunkAdvice, recommend_chunk_bytes
from linkfit.forecast.draws import Forecast
from linkfit.forecast.long_paths import outages
from linkfit.forecast.parallel_uploads import LaneAdvice, best_parallel
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.upload_crossing import UploadCrossing
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.paths import CapacityPaths
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

N_ROWS = 160
_HORIZON_S = 4 * SECONDS_PER_HOUR
_LEAST_BPS = 1e3


def upload_paths(link: "LinkModel", way: str, *, seed: int, n_rows: int = N_ROWS) -> CapacityPaths:
    """Futures of four hours of "up" or "down" in which uploads are looked at."""
    return link.paths(way, horizon_s=_HORIZON_S, n_draws=n_rows, rng=_rng(seed, "paths"))


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadRates:
    """What the futures of one question come down to.

    `rate` is the payload rate of one item over windows of `window_s`; `rtts_s` has a round trip
    for each row of the futures, `breaks_per_day` the breaks of each.
    """

    ask: UploadAsk
    seed: int
    rtts_s: "NDArray[np.float64]"
    window_s: float
    rate: Forecast = field(repr=False)
    breaks_per_day: Forecast = field(repr=False)

    @classmethod
    def of(
        cls, link: "LinkModel", ask: UploadAsk, crossed: UploadCrossing, *, seed: int
    ) -> "UploadRates":
        """Rates, round trips and breaks on the futures that `ask` crosses."""
        paths = crossed.paths
        row, _, length_s = outages(paths)
        broken = np.bincount(row[length_s > ask.idle_timeout_s], minlength=paths.n_draws)
        per_day = np.asarray(
            broken * SECONDS_PER_DAY / paths.horizon_s + ask.drops_per_day, dtype=np.float64
        )
        window_s = ask.request_timeout_s
        return cls(
            ask=ask,
            seed=seed,
            rtts_s=link.draw_rtts_s(paths.n_draws, _rng(seed, "rtts")) + ask.relay_rtt_s,
            window_s=window_s,
            rate=_window_rates(paths.rates_bps * ask.goodput_frac, paths, window_s),
            breaks_per_day=Forecast(draws=per_day, unit="a day", world=paths.world),
        )

    def rng(self, *names: str) -> np.random.Generator:
        """An own generator for each purpose."""
        return _rng(self.seed, *names)

    def outages_per_day(self) -> Estimate:
        """Outages longer than the idle timeout, with what the worlds leave open. [1/day]"""
        n_a_day = self.breaks_per_day.draws - self.ask.drops_per_day
        return over_worlds(self.breaks_per_day.world, lambda rows: float(n_a_day[rows].mean()))

    def overheads_s(self, piece_bytes: float) -> "NDArray[np.float64]":
        """Time of each request in which it sends nothing, for each row; shape (rows,). [s]"""
        part = min(piece_bytes / self.ask.size_bytes, 1.0)
        return self.rtts_s + self.ask.per_item_s * part

    def chunk_advice(self) -> ChunkAdvice:
        """The size of a piece, from all worlds together."""
        return self._chunk(self.rate.draws, self.breaks_per_day.draws)

    def chunks_by_world(self) -> Forecast:
        """The size that each world alone would say. [bytes]"""
        numbers, worlds = np.unique(self.rate.world), self.breaks_per_day.world
        each = [
            self._chunk(
                self.rate.draws[self.rate.world == n], self.breaks_per_day.draws[worlds == n]
            )
            for n in numbers
        ]
        return Forecast(
            draws=np.array([one.chunk_bytes for one in each]), unit="bytes", world=numbers
        )

    def _chunk(
        self, rates_bps: "NDArray[np.float64]", breaks_per_day: "NDArray[np.float64]"
    ) -> ChunkAdvice:
        limit_bps = self.ask.lane_limit_bps or math.inf
        middle, low = np.minimum(np.quantile(rates_bps, (0.5, 0.05)), limit_bps)
        return recommend_chunk_bytes(
            rate_bps=max(float(middle), _LEAST_BPS),
            low_rate_bps=max(float(low), _LEAST_BPS),
            overhead_s=float(np.median(self.rtts_s)),
            item_bytes=self.ask.size_bytes,
            body_limit_bytes=self.ask.body_limit_bytes,
            total_timeout_s=self.ask.request_timeout_s,
            breaks_per_h=float(breaks_per_day.mean()) * SECONDS_PER_HOUR / SECONDS_PER_DAY,
        )

    def lane_advice(self, piece_bytes: float) -> LaneAdvice:
        """The number at once, from all worlds together."""
        return self._lanes(self.rate.draws, piece_bytes)

    def lanes_by_world(self, piece_bytes: float) -> Forecast:
        """The number that each world alone would say."""
        numbers = np.unique(self.rate.world)
        each = [
            self._lanes(self.rate.draws[self.rate.world == n], piece_bytes).n_lanes for n in numbers
        ]
        return Forecast(draws=np.array(each, dtype=float), unit="at once", world=numbers)

    def _lanes(self, rates_bps: "NDArray[np.float64]", piece_bytes: float) -> LaneAdvice:
        middle, low = np.quantile(rates_bps, (0.5, 0.05))
        return best_parallel(
            item_bytes=self.ask.size_bytes,
            chunk_bytes=piece_bytes,
            rate_bps=max(float(middle), _LEAST_BPS),
            low_rate_bps=max(float(low), _LEAST_BPS),
            overhead_s=float(np.median(self.overheads_s(piece_bytes))),
            total_timeout_s=self.ask.request_timeout_s,
            lane_limit_bps=self.ask.lane_limit_bps,
            n_items=self.ask.n_items,
        )


def _rng(seed: int, *names: str) -> np.random.Generator:
    """An own generator for each purpose, so that a change of one leaves the others alone."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def _window_rates(
    payload_bps: "NDArray[np.float64]", paths: CapacityPaths, window_s: float
) -> Forecast:
    """Mean payload rates over windows in which the link carries something. [bit/s]"""
    n_steps = max(1, min(round(window_s / paths.step_s), paths.n_steps))
    n_windows = paths.n_steps // n_steps
    windows = payload_bps[:, : n_windows * n_steps].reshape(paths.n_draws, n_windows, n_steps)
    rates_bps = windows.mean(axis=2).reshape(-1)
    world = np.repeat(paths.world, n_windows)
    alive = rates_bps > 0
    if not alive.any():
        alive[:] = True
    return Forecast(draws=rates_bps[alive], unit="bit/s", world=world[alive])
