"""Round trips while the link is busy against its rate at that moment, where both were measured.

The size of a transfer is not asked for. On 14 h of an open satellite record (round trip and rates
once a second; fitted on the first half, scored on the second) the rate of the moment explains 2 %
of the variance of the log round trip, and what was moved in the 10, 60 and 300 s before another
2 to 3 %, by shorter round trips after more: a sign of the scheduler, not of a queue. No other open
trace at hand has round trips beside transfers of several sizes. The queue that a transfer builds
up itself is walked window by window in its forecast.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, positive

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from linkfit.ingest.trace import Trace

ENOUGH_PAIRS = 30  # a judgement
LEAST_QUEUE_S = 0.001
_LEAST_SPREAD = 0.1  # of log rate: less cannot tell
# a full buffer of fixed size empties in a time that falls as 1 / rate (slope -1); one kept short
# by its sender or manager does not depend on it (slope 0): between both, known that badly
_PRIOR_SLOPE = -0.5
_PRIOR_SIGMA = 0.5
_FOUND_Z = 2.0
_MOST_RATIO = 8.0  # of rates, beyond which nothing is extrapolated


@dataclass(frozen=True, slots=True, kw_only=True)
class RateEffect:
    """The time in the queue as (rate / `centre_bps`) to the power of `slope`.

    Parameters
    ----------
    slope, sigma : float
        Exponent, 0 or below for a queue that empties faster at higher rates, and how far it may
        be off.
    centre_bps : float
        Rate at which the queue is as the busy round trips alone tell. [bit/s at the IP layer]
    n_pairs : int
        Round trips with the rate of the same moment.
    """

    slope: float
    sigma: float
    centre_bps: float
    n_pairs: int

    def __post_init__(self) -> None:
        non_negative("sigma", self.sigma)
        positive("centre_bps", self.centre_bps)

    @property
    def found(self) -> bool:
        """Is the exponent told apart from 0, two standard deviations away?"""
        return abs(self.slope) > _FOUND_Z * self.sigma

    def queue_factor(self, rates_bps: "ArrayLike") -> "NDArray[np.float64]":
        """The queue at these rates over that at any busy moment; 1 where no effect was found.

        Queues that were longer at higher rates are the senders' doing: no faster link makes them.
        """
        ratio = np.asarray(rates_bps, dtype=np.float64) / self.centre_bps
        if not self.found or self.slope > 0:
            return np.ones_like(ratio)
        return np.clip(ratio, 1.0 / _MOST_RATIO, _MOST_RATIO) ** self.slope


def fit_rate_effect(
    trace: "Trace", direction: str, idle_rtts_s: "NDArray[np.float64] | None"
) -> RateEffect | None:
    """How busy round trips depend on the rate of `direction`; None: not measured together.

    Notes
    -----
    `idle_rtts_s`, shape (q,), are quantiles at even probabilities 0 ... 1 [s], None: never idle.
    Least squares of the logarithm of the queueing time (round trip less the 5 % point of idle
    ones) on the logarithm of the rate of the sample that was under way, as the mean of a normal
    prior (slope -0.5, standard deviation 0.5) and this slope with its standard error. Residuals
    are alike over time: by their first autocorrelation r, n count as n (1 - r) / (1 + r).
    """
    if idle_rtts_s is None:
        return None
    rtts_s, rates_bps = _pairs(trace, direction)
    if rtts_s.size < ENOUGH_PAIRS:
        return None
    base_s = float(idle_rtts_s[round(0.05 * (idle_rtts_s.size - 1))])
    x = np.log(rates_bps)
    y = np.log(np.maximum(rtts_s - base_s, LEAST_QUEUE_S))
    centre = float(x.mean())
    x = x - centre
    if float(x.std()) < _LEAST_SPREAD:
        return None
    slope = float(x @ y) / float(x @ x)
    rest = y - y.mean() - slope * x
    alike = float(np.clip(rest[1:] @ rest[:-1] / max(float(rest @ rest), 1e-300), 0.0, 0.95))
    error2 = float(rest @ rest) / (x.size - 2) / float(x @ x) * (1 + alike) / (1 - alike)
    weight = _PRIOR_SIGMA**2 / (_PRIOR_SIGMA**2 + error2)
    return RateEffect(
        slope=weight * slope + (1 - weight) * _PRIOR_SLOPE,
        sigma=float(np.sqrt(weight * error2)),
        centre_bps=float(np.exp(centre)),
        n_pairs=int(x.size),
    )


def _pairs(trace: "Trace", direction: str) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Busy round trips [s] and the rate [bit/s] of the sample under way, both shape (n,)."""
    probes, samples = trace.latency, trace.throughput
    probes = probes.take(probes.loaded & np.isfinite(probes.rtt_s))
    samples = samples.take((samples.is_up == (direction == "up")) & samples.saturating)
    # a source without a clock counts its own seconds: only its own samples lie beside them
    clocks = np.array([source.has_clock for source in trace.sources], dtype=bool)
    rtts, rates = [np.empty(0)], [np.empty(0)]
    groups = {-1, *np.flatnonzero(~clocks).tolist()}
    probe_group = np.where(clocks[probes.source], -1, probes.source)
    sample_group = np.where(clocks[samples.source], -1, samples.source)
    for group in sorted(groups):
        mine = np.flatnonzero(sample_group == group)
        mine = mine[np.argsort(samples.start_s[mine], kind="stable")]
        asked = np.flatnonzero(probe_group == group)
        if not mine.size or not asked.size:
            continue
        asked = asked[np.argsort(probes.time_s[asked], kind="stable")]
        time_s, start_s = probes.time_s[asked], samples.start_s[mine]
        under_way = np.searchsorted(start_s, time_s, side="right") - 1
        row = mine[np.maximum(under_way, 0)]
        inside = (under_way >= 0) & (time_s < samples.start_s[row] + samples.duration_s[row])
        rate_bps = samples.bits[row] / samples.duration_s[row]
        keep = inside & (rate_bps > 0)
        rtts.append(probes.rtt_s[asked][keep])
        rates.append(rate_bps[keep])
    return np.concatenate(rtts), np.concatenate(rates)
