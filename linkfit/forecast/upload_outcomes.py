"""What is said of uploads: pieces, how many at once, clients on the same link, timeouts."""

import math
from dataclasses import dataclass

from linkfit.forecast.chances import Chance
from linkfit.forecast.chunks import ChunkAdvice
from linkfit.forecast.draws import Forecast
from linkfit.forecast.parallel_uploads import LaneAdvice
from linkfit.forecast.timeouts import TimeoutAdvice, TimeoutRow
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.world_intervals import Estimate
from linkfit.units import BITS_PER_BYTE


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRow:
    """One item sent in requests of `piece_bytes`.

    `time` [s] is inf where it was given up, `wasted` [bytes] was sent and lost, `passes` is the
    chance that one request passes at its first attempt. Where `refused`, nothing passes.
    """

    piece_bytes: float
    time: Forecast
    wasted: Forecast
    passes: Chance
    refused: bool

    @property
    def mean_s(self) -> float:
        """Expected time; inf where some futures give up. [s]"""
        return float(self.time.draws.mean())

    @property
    def mean_wasted_bytes(self) -> float:
        """Expected bytes sent in vain; those of futures that give up count until then."""
        return float(self.wasted.draws.mean())


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneRow:
    """All items with `n_lanes` under way at once: first one done, last one done, throughput."""

    n_lanes: int
    first: Forecast
    last: Forecast
    throughput: Forecast
    items_per_s: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class SameLink:
    """Time of one whole item from a client elsewhere, and from one on the same link. [s]"""

    away: Forecast
    stays: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadsForecast:
    """Everything said of these uploads.

    `chunks` and `n_lanes` spread the advice over the worlds of the link; `rate` is the payload
    rate over `window_s`; `outages_per_day` counts those longer than the idle timeout, and
    `measured_s` is the time in which they could have been seen.
    `same_link` tells both kinds of clients apart where some are on the same link; `unmeasured` is
    the direction that these cross and nobody measured, so that they are left out.
    `rows` end with the whole item; `lanes` is empty for a single item or one that is refused.
    """

    ask: UploadAsk
    rate: Forecast
    window_s: float
    same_link: SameLink | None
    unmeasured: str
    outages_per_day: Estimate
    measured_s: float
    rows: tuple[PieceRow, ...]
    chunk: ChunkAdvice
    chunks: Forecast
    sent_bytes: float
    lanes: tuple[LaneRow, ...]
    lane_advice: LaneAdvice
    n_lanes: Forecast
    timeouts: tuple[TimeoutRow, ...]
    timeout: TimeoutAdvice

    @property
    def whole(self) -> PieceRow:
        """One item in a single request."""
        return self.rows[-1]

    @property
    def most_in_time_bytes(self) -> float:
        """What passes within the total timeout at the 5 % rate; inf without a timeout. [bytes]"""
        if self.ask.total_timeout_s is None:
            return math.inf
        return float(self.rate.quantile(0.05)) * self.ask.total_timeout_s / BITS_PER_BYTE
