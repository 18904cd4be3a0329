"""What few measurements leave open of round trips, loss and the queue before the link.

Each world gets one draw of each, so that a call judged by one ping gets a wide answer.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.forecast.voice import gilbert_burst_ratio
from linkfit.link.latency import latency_prior
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.latency import LatencyModel
    from linkfit.link.model import LinkModel

# Delay that a sender without a limit adds, where nobody measured it: from a tenth of a second to
# some seconds in nine links of ten; common practice
PRIOR_QUEUE_S, PRIOR_QUEUE_SPREAD = 0.5, 2.5
# A prior worth 30 probes of which a hundredth is lost, most of the time far fewer: a judgement
_PRIOR_PROBES, _PRIOR_LOST = 30.0, 0.3
NOT_MEASURED = "common practice"
_MOST_BURST_RATIO = 2.0  # of independent losses, where the bursts are unknown: a judgement
_Z_84 = 0.84134  # a standard deviation above the middle of a normal distribution
# Probes of one test resemble each other: this many count as one, a judgement
_PROBES_A_TEST = 10.0
_LEAST_QUEUE_SIGMA = 0.1
_LEAST_QUEUE_S = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatencyUnknowns:
    """One draw a row of what is not known; rows of one world have the same.

    Parameters
    ----------
    queue_bits : array, shape (d,)
        What waits before the link while a sender without a limit runs. [bits]
    rtt_factor : array, shape (d,)
        Level of the round trips over that of the measured ones. [1]
    loss_frac : array, shape (d,)
        Packets lost by chance, outages apart. [fraction]
    burst_ratio : array, shape (d,)
        BurstR of ITU-T G.107. [1]
    queue_source : str
        Where the queue comes from: "as stated", "measured under load", "common practice".
    """

    queue_bits: "NDArray[np.float64]"
    rtt_factor: "NDArray[np.float64]"
    loss_frac: "NDArray[np.float64]"
    burst_ratio: "NDArray[np.float64]"
    queue_source: str

    def at(self, rows: "NDArray[np.int64]") -> "LatencyUnknowns":
        """The unknowns of these rows, in their order."""
        return replace(
            self,
            queue_bits=self.queue_bits[rows],
            rtt_factor=self.rtt_factor[rows],
            loss_frac=self.loss_frac[rows],
            burst_ratio=self.burst_ratio[rows],
        )


def draw_unknowns(
    link: "LinkModel",
    direction: str,
    world: "NDArray[np.int32]",
    rng: np.random.Generator,
    *,
    buffer_bytes: float | None = None,
) -> LatencyUnknowns:
    """What is not known of `direction`, drawn once a world.

    Parameters
    ----------
    world : array of int, shape (d,)
        World of each row of the paths that go with it.
    buffer_bytes : float, optional
        The buffer before the link, where it is known. [bytes]

    Raises
    ------
    FitError
        If that direction was never measured.
    """
    n_worlds = int(world.max()) + 1
    queue_s, sigma, source = _queue(link, direction, buffer_bytes)
    if buffer_bytes is not None:
        queue = np.full(n_worlds, positive("buffer_bytes", buffer_bytes) * BITS_PER_BYTE)
    else:
        mean_bps = link.direction(direction).mean_rate_bps
        queue = queue_s * mean_bps * np.exp(sigma * rng.standard_normal(n_worlds))
    loss, burst_ratio = _loss(link.latency, n_worlds, rng)
    return LatencyUnknowns(
        queue_bits=queue[world],
        rtt_factor=np.exp(_rtt_sigma(link) * rng.standard_normal(n_worlds))[world],
        loss_frac=loss[world],
        burst_ratio=burst_ratio[world],
        queue_source=source,
    )


def _rtt_sigma(link: "LinkModel") -> float:
    """How far the level of the round trips may lie from that of the probes, in logarithms."""
    latency = link.latency or latency_prior()
    grid = np.linspace(0.0, 1.0, latency.idle_rtts_s.size)
    low, high = np.log(np.interp([1 - _Z_84, _Z_84], grid, latency.idle_rtts_s))
    return float((high - low) / 2 / np.sqrt(1.0 + latency.n_idle / _PROBES_A_TEST))


def _queue(
    link: "LinkModel", direction: str, buffer_bytes: float | None
) -> tuple[float, float, str]:
    """Median of the added delay under load [s], spread of its logarithm, and its source."""
    if buffer_bytes is not None:
        return 0.0, 0.0, "as stated"
    latency = link.latency
    # who never asked for all the link could carry did not fill its queue either
    half_hearted = link.direction(direction).lower_bound_only
    if latency is None or latency.loaded_rtts_s is None or half_hearted:
        return PRIOR_QUEUE_S, float(np.log(PRIOR_QUEUE_SPREAD)), NOT_MEASURED
    middle = latency.loaded_rtts_s.size // 2
    added_s = float(latency.loaded_rtts_s[middle] - latency.idle_rtts_s[middle])
    n_tests = max(latency.n_loaded / _PROBES_A_TEST, 0.1)
    sigma = max(float(np.log(PRIOR_QUEUE_SPREAD)) / np.sqrt(1.0 + n_tests), _LEAST_QUEUE_SIGMA)
    return max(added_s, _LEAST_QUEUE_S), sigma, "measured under load"


def _loss(
    latency: "LatencyModel | None", n_worlds: int, rng: np.random.Generator
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Loss by chance and burst ratio of each world: the prior and what the probes say."""
    n_probes = lost = 0.0
    mean_burst_probes = None
    if latency is not None:
        measured = latency.random_loss_frac
        share = latency.loss_frac if measured is None else measured
        mean_burst_probes = latency.mean_burst_probes
        # probes lost together are one event, and so are those that came back between them
        n_probes = (latency.n_idle + latency.n_loaded) / (mean_burst_probes or 1.0)
        lost = share * n_probes
    loss_frac = rng.beta(
        _PRIOR_LOST + lost, _PRIOR_PROBES - _PRIOR_LOST + n_probes - lost, n_worlds
    )
    guess = 1.0 + (_MOST_BURST_RATIO - 1.0) * rng.random(n_worlds)
    if mean_burst_probes is None:
        return loss_frac, guess
    return loss_frac, gilbert_burst_ratio(loss_frac, mean_burst_probes)
