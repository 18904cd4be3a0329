"""Rate-based congestion control (BBR) for many transfers at once, one step a round.

The parallel flows of a transfer act as one: arrays have shape (n,), packets (n, 1).

Source
------
N. Cardwell, Y. Cheng, C. S. Gunn, S. H. Yeganeh, V. Jacobson, "BBR: Congestion-Based Congestion
Control", ACM Queue 14(5), 2016, doi:10.1145/3012426.3022184: start-up gain 2/ln 2, drain by its
inverse, a cycle of eight rounds with gains 5/4, 3/4 and 1, a window of two bandwidth-delay
products, every 10 s a pause of 200 ms with four packets.
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.tcp_windows import Round

if TYPE_CHECKING:
    from numpy.typing import NDArray

STARTUP_GAIN = 2.0 / math.log(2.0)
_CYCLE_GAINS = np.array([1.25, 0.75, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
_FIRST_PHASE = 5  # common senders start the cycle at a random round; this is the middle one
_FILTER_ROUNDS = 10
_FULL_GROWTH = 1.25
_FULL_ROUNDS = 3
_PAUSE_EVERY_S = 10.0
_PAUSE_S = 0.2
_PAUSE_PACKETS = 4.0
_PROBE_SPARE_PACKETS = 8.0  # what the fast phase must put on top; value from memory
_SPARE_PACKETS = 6.0  # room for bursts on top of two bandwidth-delay products
_PACING_MARGIN = 0.99
_STARTUP, _DRAIN, _CYCLE = 0, 1, 2


@dataclass(slots=True, kw_only=True)
class RateControl:
    """Estimates the bottleneck's rate [packets/s] and paces by it."""

    n: int
    first_packets: int
    most_packets: float
    rtt_s: "NDArray[np.float64]"
    window: "NDArray[Any]" = field(init=False)  # (n, 1)
    rates: "NDArray[Any]" = field(init=False)  # (n, rounds): best of each of the last rounds
    pace: "NDArray[Any]" = field(init=False)
    mode: "NDArray[Any]" = field(init=False)
    phase: "NDArray[Any]" = field(init=False)
    full_rate: "NDArray[Any]" = field(init=False)
    n_flat: "NDArray[Any]" = field(init=False)
    rested_s: "NDArray[Any]" = field(init=False)
    pausing: "NDArray[Any]" = field(init=False)
    last_sent_s: "NDArray[Any]" = field(init=False)
    n_before: "NDArray[Any]" = field(init=False)
    least_rtt_s: "NDArray[Any]" = field(init=False)

    def __post_init__(self) -> None:
        first = min(float(self.first_packets), self.most_packets)
        self.window = np.full((self.n, 1), first)
        self.rates = np.zeros((self.n, _FILTER_ROUNDS))
        self.pace = STARTUP_GAIN * first / np.maximum(self.rtt_s, 1e-3) * _PACING_MARGIN
        self.mode = np.full(self.n, _STARTUP)
        self.phase = np.full(self.n, _FIRST_PHASE)
        self.n_flat = np.zeros(self.n, dtype=np.int64)
        self.rested_s = np.full(self.n, np.nan)
        self.least_rtt_s = np.full(self.n, np.inf)
        self.pausing = np.zeros(self.n, dtype=np.bool_)
        for name in ("full_rate", "last_sent_s", "n_before"):
            setattr(self, name, np.zeros(self.n))

    _STATE = (
        "rtt_s", "window", "rates", "pace", "mode", "phase", "full_rate", "n_flat", "rested_s",
        "pausing", "last_sent_s", "n_before", "least_rtt_s",
    )  # fmt: skip

    def take(self, keep: "NDArray[np.bool_]") -> None:
        """Forget the transfers that are over."""
        for name in self._STATE:
            setattr(self, name, getattr(self, name)[keep])

    def plan(
        self,
        start_s: "NDArray[np.float64]",
        next_s: "NDArray[np.float64]",
        _last_answer_s: "NDArray[np.float64]",
        left_packets: "NDArray[Any]",
    ) -> "tuple[NDArray[Any], NDArray[np.float64]]":
        """Packets of this round, (n, 1), paced until the second result, (n,)."""
        self.rested_s = np.where(np.isnan(self.rested_s), start_s, self.rested_s)
        long_s = np.maximum(next_s - start_s, 0.0)
        rate = self.rates.max(axis=1)
        product = rate * np.where(np.isfinite(self.least_rtt_s), self.least_rtt_s, self.rtt_s)
        # drain and the slow phase end as soon as one product is under way, the fast phase after
        # a round trip; the rest of a long round is sent at the estimated rate
        steady = rate * long_s * _PACING_MARGIN
        paced = np.where(self.mode == _STARTUP, self.pace * long_s, steady)
        probing = _CYCLE_GAINS[self.phase] - 1.0
        cycling = np.maximum(paced + probing * product, product)
        drained = np.maximum(paced / STARTUP_GAIN, product)
        paced = np.where(self.mode == _CYCLE, cycling, paced)
        paced = np.maximum(np.where(self.mode == _DRAIN, drained, paced), 1.0)
        limit = np.minimum(paced, np.floor(self.window[:, 0]))
        limit = np.where(self.pausing, np.minimum(limit, _PAUSE_PACKETS), limit)
        send = np.minimum(limit, left_packets[:, 0])
        self.last_sent_s = start_s + long_s * send / paced  # evenly over the round
        return send[:, None], self.last_sent_s

    def restart(
        self, stalled: "NDArray[np.bool_]", _collapsed: "NDArray[np.bool_]", _least_packets: float
    ) -> None:
        """After a timeout the model of the path stands; only the flight is gone."""
        self.n_before = np.where(stalled, 0.0, self.n_before)

    def rest(
        self, idle_s: "NDArray[np.float64]", timeout_s: "NDArray[np.float64]", _first_packets: int
    ) -> None:
        """After an idle time the model of the path stands; only the flight is gone."""
        self.n_before = np.where(idle_s > timeout_s, 0.0, self.n_before)

    def learn(self, seen: Round) -> None:
        """Rate, mode, pace and window of the next round."""
        sent = seen.sent[:, 0]
        long_s = np.maximum(seen.next_s - seen.start_s, 1e-6)
        self.least_rtt_s = np.minimum(self.least_rtt_s, long_s)
        last_answer_s = seen.next_s + seen.span_s
        # delivered between the sending of a packet and its answer: for the first packet of the
        # round, known when the next one starts, and for the last, known while it runs
        by_first = self.n_before / long_s
        by_last = sent / np.maximum(last_answer_s - self.last_sent_s, long_s)
        self.n_before = sent
        # a round that had little to send says nothing of the path unless it was faster
        best = self.rates.max(axis=1)
        told = ~seen.limited | (np.maximum(by_first, by_last) > best)
        rolled = np.roll(self.rates, 1, axis=1)
        self.rates = np.where(told[:, None], rolled, self.rates)
        self.rates[:, 0] = np.where(told, by_first, self.rates[:, 0])
        self._change_mode(self.rates.max(axis=1), sent, seen)
        by_both = np.maximum(by_first, by_last)
        self.rates[:, 0] = np.where(told, by_both, self.rates[:, 0])
        rate = self.rates.max(axis=1)
        startup = self.mode == _STARTUP
        product = rate * self.least_rtt_s
        # in start-up the estimate doubles within the round: the mean pace is the geometric one
        wanted = STARTUP_GAIN * rate * _PACING_MARGIN
        rising = np.sqrt(self.pace * np.maximum(wanted, self.pace))
        self.pace = np.maximum(np.where(startup, rising, rate * _PACING_MARGIN), 1e-3)
        window = self.window[:, 0]
        ceiling = np.maximum(STARTUP_GAIN * product + _SPARE_PACKETS, window)
        grown = np.where(
            startup, np.minimum(window + sent, ceiling), 2.0 * product + _SPARE_PACKETS
        )
        self.window = np.clip(grown, _PAUSE_PACKETS, self.most_packets)[:, None]

    def _change_mode(self, rate: "NDArray[Any]", sent: "NDArray[Any]", seen: Round) -> None:
        """Start-up ends when the rate stops growing, drain when the queue is gone."""
        startup = self.mode == _STARTUP
        grows = rate >= _FULL_GROWTH * self.full_rate
        self.full_rate = np.where(startup & grows, rate, self.full_rate)
        flat = np.where(grows, 0, self.n_flat + ~seen.limited)
        self.n_flat = np.where(startup, flat, self.n_flat)
        drained = (self.mode == _DRAIN) & (sent <= rate * self.least_rtt_s + 1.0)
        # the fast phase goes on until what it asks for is under way, or a loss says it is too much
        asked = _CYCLE_GAINS[0] * rate * self.least_rtt_s + _PROBE_SPARE_PACKETS
        goes_on = (self.phase == 0) & (sent < asked) & ~seen.hurt.any(axis=1)
        moves = (self.mode == _CYCLE) & ~goes_on
        self.phase = np.where(moves, (self.phase + 1) % _CYCLE_GAINS.size, self.phase)
        self.mode = np.where(startup & (self.n_flat >= _FULL_ROUNDS), _DRAIN, self.mode)
        self.mode = np.where(drained, _CYCLE, self.mode)
        rested = self.pausing & (seen.start_s - self.rested_s >= _PAUSE_S + seen.rtt_s)
        stale = ~self.pausing & (self.mode == _CYCLE)
        stale &= seen.start_s - self.rested_s > _PAUSE_EVERY_S
        self.rested_s = np.where(stale | rested, seen.next_s, self.rested_s)
        self.pausing = (self.pausing & ~rested) | stale
