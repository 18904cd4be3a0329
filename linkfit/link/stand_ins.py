"""Stand-ins for saturating measurements: real transfers, and floors from passive counters."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from linkfit.ingest.trace import Trace, TransferSamples
from linkfit.link.gaps import SESSION_GAP_S
from linkfit.link.latency import N_QUANTILES, PRIOR_MEDIAN_RTT_S, LatencyModel
from linkfit.link.series import (
    GRID_S,
    IP_BITS_PER_TCP_BIT,
    MeasuredRuns,
    runs_of_samples,
    selected_samples,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FIRST_WINDOW_BYTES = 14_480.0  # 10 segments of 1448 bytes (RFC 6928 section 2)
_WIRE_BITS_PER_BYTE = 8.0 * IP_BITS_PER_TCP_BIT
# what a transfer spends on its bytes and on round trips, as shares of its duration: guards
# against rates and round trips without limit, which one duration cannot rule out
_LEAST_SENDING_FRAC = 0.1
_MOST_WAITING_FRAC = 0.97
_TELLS_FRAC = 0.1  # transfers expected to spend less on their bytes tell nothing of the rate
# over the fastest size over duration; a judgement: with 2 or 3, held-out uploads and downloads are
# told as well as without a ceiling or better, with the rates of large transfers alone worse
_CEILING = 2.0
_CEILING_MEASURED = 4.0  # round trips that probes measured leave less to guess
_LEAST_RTT_FRAC = 0.01
_LEAST_LOOKS = 10
_HOLD_S = (1.0, 30.0)
_RTT_GRID_S = np.geomspace(0.005, 1.5, 100)
# what a transfer waits for a round holds more than a ping does (set-up that is not told apart, a
# radio that wakes, the peer's own time): the published median of pings and half of it again, known
# within a factor of 3; a judgement, with which drives of one size foretell those of another
_PRIOR_RTT_S = 1.45 * PRIOR_MEDIAN_RTT_S
_PRIOR_SIGMA = 0.7
_RATE_FACTORS = np.geomspace(0.7, 40.0, 60)  # of the link, over size / duration
_LEAST_REGRESSION, _MOST_REGRESSION = 5, 500  # transfers that enter
_LEAST_APART = 0.02  # of durations, as clocks of applications tell them
_DEPENDENCE = 6.0  # neighbours are alike: so many count as one; a judgement
_LEAST_RTT_SIGMA = 0.1  # one transfer to another over the same link; a judgement
_NEIGHBOURS = 20.0  # transfers of one session that tell as much as one apart; a judgement
_READINGS = ndtri([3 / 6, 1 / 6, 5 / 6])  # middles of three parts of equal probability
_EVEN = (np.arange(11) + 0.5) / 11
_FLOOR_WINDOW_S = 10
_FLOOR_LEVEL = 0.99


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TransferLooks:
    """Transfers of one direction, each as one look at the rate of the link.

    Parameters
    ----------
    runs : MeasuredRuns
        Every transfer holds its rate for the same number of seconds, since each is one look at
        a moment nobody chose: by their durations slow ones would count more than once.
    sending_s : array, shape (n,)
        What each spent on its bytes. [s]
    rtts_s : array, shape (n,)
        Round trip that each was read with. [s]
    rtt_sigma : float
        How far it may be off: standard deviation of its logarithm. [1]
    n_apart : float
        Looks far enough apart to tell of other days: sessions, or so many neighbours each.
    """

    runs: MeasuredRuns
    sending_s: "NDArray[np.float64]"
    rtts_s: "NDArray[np.float64]"
    rtt_sigma: float
    n_apart: float

    def once(self) -> MeasuredRuns:
        """The same with one second a transfer: what is counted must not count holding."""
        hold = self.runs.rates_bps.size // self.sending_s.size
        return MeasuredRuns(
            rates_bps=self.runs.rates_bps[::hold],
            first=self.runs.first // hold,
            start_s=self.runs.start_s,
        )

    def latency(self) -> LatencyModel:
        """The round trips as a model; `n_idle` is 0, since no probe measured them. [s]"""
        spread = np.exp(self.rtt_sigma * ndtri(_EVEN))
        rtts_s = np.outer(self.rtts_s, spread)
        return LatencyModel(
            idle_rtts_s=np.quantile(rtts_s, np.linspace(0.0, 1.0, N_QUANTILES)),
            loaded_rtts_s=None,
            loss_frac=0.0,
            n_idle=0,
            n_loaded=0,
        )


def transfer_looks(
    trace: Trace, direction: str, latency: LatencyModel | None
) -> TransferLooks | None:
    """Real transfers of `direction` at the rates that explain them; None if there is none.

    Notes
    -----
    duration = round trips x round-trip time + rest / rate: a first window of 10 segments
    (RFC 6928) doubles each round trip until it fills the link or nothing is left, what is left
    then goes at the link's rate, and the last answer takes one round trip more. That is how
    transfers are forecast, so that a forecast gives back what was measured. The round trip is
    the one measured beside the transfer, else the link's idle median, else the one that makes
    rates independent of sizes. Transfers too small to tell a rate are left out by their size,
    never by how long they took.
    """
    samples = trace.transfers.take(trace.transfers.is_up == (direction == "up"))
    if not len(samples):
        return None
    common_s, rtt_sigma = _common_rtt_s(samples, latency)
    keep = _that_tell(samples, common_s)
    has_clock = np.array([source.has_clock for source in trace.sources])[samples.source]
    order = keep[np.lexsort((samples.start_s[keep], np.where(has_clock, -1, samples.source)[keep]))]
    samples, has_clock = samples.take(order), has_clock[order]
    rtts_s = np.where(np.isnan(samples.rtt_s), common_s, samples.rtt_s)
    ceiling_bps = _ceiling_bps(samples, rtt_sigma <= _LEAST_RTT_SIGMA)
    # a round trip that is not known well is not known to any of the rates either
    readings = np.exp(rtt_sigma * np.resize(_READINGS, len(samples)))
    _, rates_bps = _explained(samples, rtts_s * readings, ceiling_bps)
    rtts_s, _ = _explained(samples, rtts_s, ceiling_bps)
    begins = _session_begins(samples)
    hold = _hold_seconds(samples, begins)
    # with a clock each transfer stands at its own time; without one a session is a series
    own = begins | has_clock
    first = np.append(np.flatnonzero(own), len(samples)) * hold
    runs = MeasuredRuns(
        rates_bps=np.repeat(rates_bps, hold),
        first=first,
        start_s=np.where(has_clock, samples.start_s, np.nan)[own],
    )
    return TransferLooks(
        runs=runs,
        sending_s=samples.size_bytes * _WIRE_BITS_PER_BYTE / rates_bps,
        rtts_s=rtts_s,
        rtt_sigma=rtt_sigma,
        n_apart=max(float(begins.sum()), len(samples) / _NEIGHBOURS),
    )


def _session_begins(samples: TransferSamples) -> "NDArray[np.bool_]":
    """Is each transfer the first of its source, or five minutes after the one before?"""
    begins = np.ones(len(samples), dtype=bool)
    idle_s = np.diff(samples.start_s) - samples.duration_s[:-1]
    begins[1:] = (np.diff(samples.source) != 0) | (idle_s > SESSION_GAP_S)
    return begins


def _that_tell(samples: TransferSamples, rtt_s: float) -> "NDArray[np.int64]":
    """Transfers large enough to spend time on their bytes; the largest ones if few are."""
    _, rates_bps = _explained(samples, np.full(len(samples), rtt_s))
    expected_s = samples.size_bytes * _WIRE_BITS_PER_BYTE / np.median(rates_bps)
    share = expected_s / (expected_s + rtt_s * (1.0 + _rounds(samples.size_bytes)))
    least = np.sort(share)[-min(_LEAST_LOOKS, share.size)]
    return np.flatnonzero(share >= min(_TELLS_FRAC, least))


def _hold_seconds(samples: TransferSamples, begins: "NDArray[np.bool_]") -> int:
    """For how long a rate is taken to last: until the next transfer of its session."""
    held_s = float(np.quantile(samples.duration_s, 0.9))
    apart_s = np.diff(samples.start_s)[~begins[1:]]
    if apart_s.size:
        held_s = max(held_s, float(np.median(apart_s)))
    return int(np.clip(np.ceil(held_s), *_HOLD_S) / GRID_S)


def _rounds(size_bytes: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Round trips of a doubling window before the last one, were the link without limit."""
    return np.maximum(np.ceil(np.log2(1.0 + size_bytes / _FIRST_WINDOW_BYTES)) - 1.0, 0.0)


def moved_s(
    size_bytes: "NDArray[np.float64]",
    rate_bps: "NDArray[np.float64]",
    rtt_s: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Time of a transfer over a connection that stands, at a constant rate, shape (n,). [s]"""
    in_flight_bytes = rate_bps * rtt_s / _WIRE_BITS_PER_BYTE
    fills = np.ceil(np.log2(np.maximum(in_flight_bytes / _FIRST_WINDOW_BYTES, 1.0)))
    rounds = np.minimum(fills, _rounds(size_bytes))
    rest_bytes = size_bytes - _FIRST_WINDOW_BYTES * (2.0**rounds - 1.0)
    return (rounds + 1.0) * rtt_s + rest_bytes * _WIRE_BITS_PER_BYTE / rate_bps


def _ceiling_bps(samples: TransferSamples, rtts_measured: bool) -> float:
    """The fastest rate that transfers can tell of: twice the fastest size over duration. [bit/s]

    A small transfer spends its time on round trips: one that was a little faster than they allow
    would tell of any rate at all. What a whole transfer carried, waiting included, is no guess,
    and the fastest of all did not wait for more than half of its time (three quarters, where
    round trips were measured).
    """
    plain_bps = samples.size_bytes * _WIRE_BITS_PER_BYTE / samples.duration_s
    return (_CEILING_MEASURED if rtts_measured else _CEILING) * float(plain_bps.max())


def _explained(
    samples: TransferSamples, rtts_s: "NDArray[np.float64]", ceiling_bps: float = np.inf
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Round trips, shortened where the transfer was too fast for them, and the rates left."""
    size_bytes, duration_s = samples.size_bytes, samples.duration_s
    high_bps = size_bytes * _WIRE_BITS_PER_BYTE / (_LEAST_SENDING_FRAC * duration_s)
    low_bps = size_bytes * _WIRE_BITS_PER_BYTE / (2.0 * duration_s)
    # the longest round trip with which the transfer could end in time
    longest_s = _MOST_WAITING_FRAC * duration_s / (1.0 + _rounds(size_bytes))
    rtts_s = np.minimum(rtts_s, longest_s)
    low, high = np.log(low_bps), np.log(high_bps)
    for _ in range(40):
        middle = 0.5 * (low + high)
        is_slow = moved_s(size_bytes, np.exp(middle), rtts_s) > duration_s
        low, high = np.where(is_slow, middle, low), np.where(is_slow, high, middle)
    rates_bps = np.exp(0.5 * (low + high))
    above = rates_bps > ceiling_bps
    if above.any():
        rates_bps = np.minimum(rates_bps, ceiling_bps)
        rtts_s = np.where(above, _rtts_left_s(samples, rates_bps, rtts_s), rtts_s)
    return rtts_s, rates_bps


def _rtts_left_s(
    samples: TransferSamples, rates_bps: "NDArray[np.float64]", most_s: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """The round trips of at most `most_s` that are left at known rates. [s]"""
    low, high = _LEAST_RTT_FRAC * most_s, most_s
    for _ in range(40):
        middle = np.sqrt(low * high)
        is_slow = moved_s(samples.size_bytes, rates_bps, middle) > samples.duration_s
        low, high = np.where(is_slow, low, middle), np.where(is_slow, middle, high)
    return np.sqrt(low * high)


def _common_rtt_s(samples: TransferSamples, latency: LatencyModel | None) -> tuple[float, float]:
    """The round trip for transfers without one of their own [s], and its uncertainty [1].

    Notes
    -----
    Without any measured one: the rate and the round trip whose curve of duration against size
    lies nearest to the transfers (least absolute deviations of logarithms, so that slow moments
    pull little), as a Laplace likelihood with a lognormal prior; mean and spread of what follows.
    Sizes that hardly differ leave the prior.
    """
    if latency is not None:
        return float(latency.idle_rtts_s[latency.idle_rtts_s.size // 2]), _LEAST_RTT_SIGMA
    known_s = samples.rtt_s[np.isfinite(samples.rtt_s)]
    if known_s.size:
        return float(np.median(known_s)), _LEAST_RTT_SIGMA
    misfit = (np.log(_RTT_GRID_S / _PRIOR_RTT_S) / _PRIOR_SIGMA) ** 2
    if len(samples) >= _LEAST_REGRESSION:
        some = samples.take(
            np.linspace(0, len(samples) - 1, min(len(samples), _MOST_REGRESSION)).astype(np.int64)
        )
        apart = np.array([_distance_to_curve(some, rtt_s) for rtt_s in _RTT_GRID_S.tolist()])
        apart = np.maximum(apart, _LEAST_APART)
        misfit += 2.0 * len(some) / _DEPENDENCE * np.log(apart / apart.min())
    weight = np.exp(-0.5 * (misfit - misfit.min()))
    weight /= weight.sum()
    log_rtt = np.log(_RTT_GRID_S)
    centre = float(weight @ log_rtt)
    variance = float(weight @ (log_rtt - centre) ** 2)
    return float(np.exp(centre)), float(np.sqrt(variance + _LEAST_RTT_SIGMA**2))


def _distance_to_curve(samples: TransferSamples, rtt_s: float) -> float:
    """Mean distance of log durations to the best curve with this round trip. [1]"""
    size_bytes = samples.size_bytes
    naive_bps = float(np.median(samples.rates_bps))
    rates_bps = naive_bps * _RATE_FACTORS[:, None]
    expected_s = moved_s(size_bytes, rates_bps, np.full(size_bytes.size, rtt_s))
    return float(np.abs(np.log(expected_s / samples.duration_s)).mean(axis=1).min())


def floor_runs(trace: Trace, direction: str) -> MeasuredRuns | None:
    """What the link carried at its busiest, as one run; None if nothing was carried.

    Notes
    -----
    The 99th percentile of averages over 10 s of what was asked for: the link can carry at least
    that. Single seconds would take bursts of a buffer for capacity.
    """
    samples, has_clock = selected_samples(trace, direction, saturating=False)
    runs = runs_of_samples(samples, has_clock)
    cumulative = np.concatenate(([0.0], np.cumsum(runs.rates_bps)))
    window = min(_FLOOR_WINDOW_S, runs.rates_bps.size)
    means_bps = (cumulative[window:] - cumulative[:-window]) / window
    floor_bps = float(np.quantile(means_bps, _FLOOR_LEVEL))
    if floor_bps <= 0:
        return None
    return MeasuredRuns(
        rates_bps=np.full(_FLOOR_WINDOW_S, floor_bps),
        first=np.array([0, _FLOOR_WINDOW_S]),
        start_s=np.array([np.nan]),
    )
