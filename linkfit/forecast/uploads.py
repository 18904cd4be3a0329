"""Uploads over a link that breaks: whole or in pieces, one or several at once, which timeouts.

One set of futures answers all of it, so that the answers agree with each other.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.long_paths import LongPaths
from linkfit.forecast.parallel_uploads import MOST_LANES, lanes_rate_bps
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
from linkfit.forecast.upload_rates import N_ROWS, UploadRates, upload_paths
from linkfit.link.paths import CapacityPaths
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

_RECONNECT_TRIPS = 2.0  # TCP and TLS 1.3 again after a break
_LADDER_BYTES = tuple(m * 1e6 for m in (0.25, 1, 5, 10, 25, 50, 100, 250, 1000, 5000))
_MOST_ROWS = 6


def forecast_uploads(
    link: "LinkModel", ask: UploadAsk, *, seed: int = 0, n_rows: int = N_ROWS, n_draws: int = 400
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
    advice, chunks = case.rates.chunk_advice(), case.rates.chunks_by_world()
    sent_bytes = ask.size_bytes if ask.whole else min(ask.chunk_bytes or advice.chunk_bytes,
                                                      ask.size_bytes)  # fmt: skip
    sizes = [*_ladder(ask.size_bytes), advice.chunk_bytes, sent_bytes, ask.size_bytes]
    rows = tuple(case.piece_row(size) for size in sorted(set(sizes)))
    lane_advice = case.rates.lane_advice(sent_bytes)
    lanes: tuple[LaneRow, ...] = ()
    if ask.n_items > 1 and ask.carries(sent_bytes):
        most = min(MOST_LANES, ask.n_items)
        lanes = tuple(case.lane_row(n, sent_bytes) for n in range(1, most + 1))
    effective = case.effective(sent_bytes)
    times_s, world = piece_times_s(
        effective, sent_bytes * BITS_PER_BYTE, case.rates.rng("timeouts")
    )
    asked = {ask.idle_timeout_s, ask.total_timeout_s} - {None}
    return UploadsForecast(
        ask=ask,
        rate=case.rates.rate,
        window_s=case.rates.window_s,
        same_link=case.same_link(rows[-1].time),
        unmeasured=case.crossed.unmeasured,
        outages_per_day=case.rates.outages_per_day(),
        measured_s=link.direction(ask.direction).measured_s,
        rows=rows,
        chunk=advice,
        chunks=chunks,
        sent_bytes=sent_bytes,
        lanes=lanes,
        lane_advice=lane_advice,
        n_lanes=case.rates.lanes_by_world(sent_bytes),
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
    """The futures of one question, joined to long ones: what each way of sending makes of them."""

    rates: UploadRates
    crossed: UploadCrossing
    in_turn_bps: "NDArray[np.float64]"
    long: LongPaths
    breaks: Breaks

    @classmethod
    def of(
        cls, link: "LinkModel", ask: UploadAsk, *, seed: int, n_rows: int, n_draws: int
    ) -> "_Case":
        """Draw the futures."""
        crossed = crossing_of(ask, lambda way: upload_paths(link, way, seed=seed, n_rows=n_rows))
        rates = UploadRates.of(link, ask, crossed, seed=seed)
        return cls(
            rates=rates,
            crossed=crossed,
            in_turn_bps=crossed.in_turn_bps() if ask.n_items > 1 else crossed.away_bps,
            long=LongPaths.join(
                _apart(crossed),
                n_draws=n_draws,
                timeout_s=ask.idle_timeout_s,
                rng=rates.rng("joins"),
            ).on(crossed.paths),
            breaks=Breaks(
                drops_per_s=ask.drops_per_day / SECONDS_PER_DAY,
                total_timeout_s=ask.total_timeout_s or math.inf,
                reconnect_s=_RECONNECT_TRIPS * float(np.median(rates.rtts_s)),
            ),
        )

    @property
    def ask(self) -> UploadAsk:
        """The question."""
        return self.rates.ask

    def effective(self, piece_bytes: float, n_lanes: int | None = None) -> LongPaths:
        """The long paths at the rate at which one item moves, or all with `n_lanes` under way,
        waits taken off.
        """
        paths = self.long.paths
        payload_bps = self.crossed.paths.rates_bps * self.ask.goodput_frac
        if n_lanes is None:
            n_lanes = 1
        else:
            payload_bps = self.in_turn_bps * self.ask.goodput_frac
        rates_bps = lanes_rate_bps(
            payload_bps,
            piece_bits=piece_bytes * BITS_PER_BYTE,
            overhead_s=self.rates.overheads_s(piece_bytes)[:, None],
            n_lanes=n_lanes,
            lane_limit_bps=self.ask.lane_limit_bps,
        )
        return self.long.on(CapacityPaths.from_rates(rates_bps, paths.step_s, paths.world))

    def piece_row(self, piece_bytes: float) -> PieceRow:
        """One item in requests of `piece_bytes`."""
        effective = self.effective(piece_bytes)
        sent = send_pieces(
            effective,
            piece_bits=piece_bytes * BITS_PER_BYTE,
            total_bits=self.ask.size_bytes * BITS_PER_BYTE,
            breaks=self.breaks,
            rng=self.rates.rng("drops"),
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
                rng=self.rates.rng("starts"),
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
            rng=self.rates.rng("drops"),
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


def _apart(crossed: UploadCrossing) -> CapacityPaths:
    """The paths with rows of clients on the same link as worlds of their own, so that a long path
    stays with one kind.
    """
    paths = crossed.paths
    return CapacityPaths.from_rates(paths.rates_bps, paths.step_s, 2 * paths.world + crossed.stays)
