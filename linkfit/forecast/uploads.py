"""Uploads over a link that breaks: whole or in pieces, one or several at once, which timeouts.

One set of futures answers all of it, so that the answers agree with each other.
"""

import math
import zlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.chunks import ChunkAdvice, recommend_chunk_bytes
from linkfit.forecast.draws import Forecast
from linkfit.forecast.long_paths import LongPaths, outages
from linkfit.forecast.parallel_uploads import (
    MOST_LANES,
    LaneAdvice,
    best_parallel,
    lanes_rate_bps,
)
from linkfit.forecast.pieces import Breaks, send_pieces, unbroken_chance
from linkfit.forecast.timeouts import (
    COMMON_TIMEOUTS_S,
    piece_times_s,
    timeout_advice,
    timeout_rows,
)
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.upload_crossing import UploadCrossing, crossing_of
from linkfit.forecast.upload_outcomes import LaneRow, PieceRow, SameLink, UploadsForecast
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.paths import CapacityPaths
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

_HORIZON_S = 4 * SECONDS_PER_HOUR
_RECONNECT_TRIPS = 2.0  # TCP and TLS 1.3 again after a break
_LADDER_BYTES = tuple(m * 1e6 for m in (0.25, 1, 5, 10, 25, 50, 100, 250, 1000, 5000))
_MOST_ROWS = 6
_LEAST_BPS = 1e3


def forecast_uploads(
    link: "LinkModel", ask: UploadAsk, *, seed: int = 0, n_rows: int = 160, n_draws: int = 400
) -> UploadsForecast:
    """Uploads over `link`: chances, times, waste, chunk size, how many at once, timeouts.

    Parameters
    ----------
    link : LinkModel
        The link as measured.
    ask : UploadAsk
        What is sent and what the path refuses.
    n_rows, n_draws : int
        Futures of four hours, and long paths joined from them.

    Raises
    ------
    FitError
        If the direction was never measured.

    Notes
    -----
    Slow start of a connection is left out: its cost is a few round trips after each break.
    """
    case = _Case.of(link, ask, seed=seed, n_rows=n_rows, n_draws=n_draws)
    advice, chunks = case.chunk_advice()
    sent_bytes = ask.size_bytes if ask.whole else min(ask.chunk_bytes or advice.chunk_bytes,
                                                      ask.size_bytes)  # fmt: skip
    sizes = [*_ladder(ask.size_bytes), advice.chunk_bytes, sent_bytes, ask.size_bytes]
    rows = tuple(case.piece_row(size) for size in sorted(set(sizes)))
    lane_advice, n_lanes = case.lane_advice(sent_bytes)
    lanes: tuple[LaneRow, ...] = ()
    if ask.n_items > 1 and ask.carries(sent_bytes):
        most = min(MOST_LANES, ask.n_items)
        lanes = tuple(case.lane_row(n, sent_bytes) for n in range(1, most + 1))
    effective = case.effective(sent_bytes)
    times_s, world = piece_times_s(effective, sent_bytes * BITS_PER_BYTE, case.rng("timeouts"))
    asked = {ask.idle_timeout_s, ask.total_timeout_s} - {None}
    return UploadsForecast(
        ask=ask,
        rate=case.rate,
        window_s=case.window_s,
        same_link=case.same_link(rows[-1].time),
        unmeasured=case.crossed.unmeasured,
        outages_per_day=case.outages_per_day(),
        measured_s=link.direction(ask.direction).measured_s,
        rows=rows,
        chunk=advice,
        chunks=chunks,
        sent_bytes=sent_bytes,
        lanes=lanes,
        lane_advice=lane_advice,
        n_lanes=n_lanes,
        timeouts=timeout_rows(
            times_s,
            world,
            piece_bytes=sent_bytes,
            timeouts_s=(*COMMON_TIMEOUTS_S, *(t for t in asked if t is not None)),
        ),
        timeout=timeout_advice(case.long.paths, times_s, world),
    )


def _ladder(size_bytes: float) -> tuple[float, ...]:
    """A few plain chunk sizes below the item's size, from the smallest to the largest."""
    below = [size for size in _LADDER_BYTES if size < size_bytes]
    chosen = np.unique(np.linspace(0, len(below) - 1, _MOST_ROWS).round()) if below else ()
    return tuple(below[int(i)] for i in chosen)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """The futures of one question, and what follows from them for each way of sending."""

    ask: UploadAsk
    seed: int
    crossed: UploadCrossing
    long: LongPaths
    payload_bps: "NDArray[np.float64]"
    rtts_s: "NDArray[np.float64]"
    breaks: Breaks
    window_s: float
    rate: Forecast = field(repr=False)
    breaks_per_day: Forecast = field(repr=False)

    @classmethod
    def of(
        cls, link: "LinkModel", ask: UploadAsk, *, seed: int, n_rows: int, n_draws: int
    ) -> "_Case":
        """Draw the futures."""
        crossed = crossing_of(
            ask,
            lambda way: link.paths(
                way, horizon_s=_HORIZON_S, n_draws=n_rows, rng=_rng(seed, "paths")
            ),
        )
        paths = crossed.paths
        rtts_s = link.draw_rtts_s(paths.n_draws, _rng(seed, "rtts")) + ask.relay_rtt_s
        payload_bps = paths.rates_bps * ask.goodput_frac
        drops_per_s = ask.drops_per_day / SECONDS_PER_DAY
        window_s = ask.request_timeout_s
        row, _, length_s = outages(paths)
        broken = np.bincount(row[length_s > ask.idle_timeout_s], minlength=paths.n_draws)
        per_day = np.asarray(
            broken * SECONDS_PER_DAY / paths.horizon_s + ask.drops_per_day, dtype=np.float64
        )
        return cls(
            ask=ask,
            seed=seed,
            crossed=crossed,
            long=LongPaths.join(
                _apart(crossed),
                n_draws=n_draws,
                timeout_s=ask.idle_timeout_s,
                rng=_rng(seed, "joins"),
            ).on(paths),
            payload_bps=payload_bps,
            rtts_s=rtts_s,
            breaks=Breaks(
                drops_per_s=drops_per_s,
                total_timeout_s=ask.total_timeout_s or math.inf,
                reconnect_s=_RECONNECT_TRIPS * float(np.median(rtts_s)),
            ),
            window_s=window_s,
            rate=_window_rates(payload_bps, paths, window_s),
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

    def effective(self, piece_bytes: float, n_lanes: int | None = None) -> LongPaths:
        """The long paths at the rate at which one item moves, or all with `n_lanes` under way,
        waits taken off.
        """
        paths = self.long.paths
        payload_bps = self.payload_bps
        if n_lanes is None:
            n_lanes = 1
        else:
            payload_bps = self.crossed.in_turn_bps * self.ask.goodput_frac
        rates_bps = lanes_rate_bps(
            payload_bps,
            piece_bits=piece_bytes * BITS_PER_BYTE,
            overhead_s=self.overheads_s(piece_bytes)[:, None],
            n_lanes=n_lanes,
            lane_limit_bps=self.ask.lane_limit_bps,
        )
        return self.long.on(CapacityPaths.from_rates(rates_bps, paths.step_s, paths.world))

    def chunk_advice(self) -> tuple[ChunkAdvice, Forecast]:
        """The advice from all worlds together, and what each world alone would say."""
        numbers, worlds = np.unique(self.rate.world), self.breaks_per_day.world

        def advice(rates_bps: "NDArray[np.float64]", per_day: float) -> ChunkAdvice:
            limit_bps = self.ask.lane_limit_bps or math.inf
            middle, low = np.minimum(np.quantile(rates_bps, (0.5, 0.05)), limit_bps)
            return recommend_chunk_bytes(
                rate_bps=max(float(middle), _LEAST_BPS),
                low_rate_bps=max(float(low), _LEAST_BPS),
                overhead_s=float(np.median(self.rtts_s)),
                item_bytes=self.ask.size_bytes,
                body_limit_bytes=self.ask.body_limit_bytes,
                total_timeout_s=self.ask.request_timeout_s,
                breaks_per_h=per_day * SECONDS_PER_HOUR / SECONDS_PER_DAY,
            )

        per_day = self.breaks_per_day.draws
        each = [
            advice(self.rate.draws[self.rate.world == n], float(per_day[worlds == n].mean()))
            for n in numbers
        ]
        spread = Forecast(
            draws=np.array([one.chunk_bytes for one in each]), unit="bytes", world=numbers
        )
        return advice(self.rate.draws, float(per_day.mean())), spread

    def lane_advice(self, piece_bytes: float) -> tuple[LaneAdvice, Forecast]:
        """The number at once from all worlds together, and what each world alone would say."""
        numbers = np.unique(self.rate.world)

        def advice(rates_bps: "NDArray[np.float64]") -> LaneAdvice:
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

        each = [advice(self.rate.draws[self.rate.world == n]).n_lanes for n in numbers]
        spread = Forecast(draws=np.array(each, dtype=float), unit="at once", world=numbers)
        return advice(self.rate.draws), spread

    def piece_row(self, piece_bytes: float) -> PieceRow:
        """One item in requests of `piece_bytes`."""
        effective = self.effective(piece_bytes)
        sent = send_pieces(
            effective,
            piece_bits=piece_bytes * BITS_PER_BYTE,
            total_bits=self.ask.size_bytes * BITS_PER_BYTE,
            breaks=self.breaks,
            rng=self.rng("drops"),
        )
        world = self.long.world
        return PieceRow(
            piece_bytes=piece_bytes,
            time=Forecast(draws=sent.time_s, unit="s", world=world),
            wasted=Forecast(draws=sent.wasted_bits / BITS_PER_BYTE, unit="bytes", world=world),
            passes=unbroken_chance(
                effective,
                piece_bits=piece_bytes * BITS_PER_BYTE,
                breaks=self.breaks,
                rng=self.rng("starts"),
            ),
            refused=not self.ask.carries(piece_bytes),
        )

    def same_link(self, time: Forecast) -> SameLink | None:
        """`time` of one item for both kinds of clients; None where all are of one kind."""
        stays = self.crossed.stays[self.long.order[:, 0]]
        if not stays.any() or stays.all():
            return None
        away, own = (
            Forecast(draws=time.draws[rows], unit=time.unit, world=time.world[rows])
            for rows in (~stays, stays)
        )
        return SameLink(away=away, stays=own)

    def lane_row(self, n_lanes: int, piece_bytes: float) -> LaneRow:
        """All items, `n_lanes` at once in step: N requests at once are one of N times the size."""
        item_bits = self.ask.size_bytes * BITS_PER_BYTE
        total_bits = self.ask.n_items * item_bits
        sent = send_pieces(
            self.effective(piece_bytes, n_lanes),
            piece_bits=n_lanes * piece_bytes * BITS_PER_BYTE,
            total_bits=total_bits,
            first_bits=n_lanes * item_bits,
            breaks=self.breaks,
            rng=self.rng("drops"),
        )
        world = self.long.world
        per_s = np.asarray(self.ask.n_items / sent.time_s, dtype=np.float64)
        return LaneRow(
            n_lanes=n_lanes,
            first=Forecast(draws=sent.first_s, unit="s", world=world),
            last=Forecast(draws=sent.time_s, unit="s", world=world),
            throughput=Forecast(draws=item_bits * per_s, unit="bit/s", world=world),
            items_per_s=Forecast(draws=per_s, unit="items/s", world=world),
        )


def _rng(seed: int, *names: str) -> np.random.Generator:
    """An own generator for each purpose, so that a change of one leaves the others alone."""
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def _apart(crossed: UploadCrossing) -> CapacityPaths:
    """The paths with rows of clients on the same link as worlds of their own, so that a long path
    stays with one kind.
    """
    paths = crossed.paths
    return CapacityPaths.from_rates(paths.rates_bps, paths.step_s, 2 * paths.world + crossed.stays)


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
