"""Round trips and loss: what the probes saw, idle and while the link was busy."""

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import InputError
from linkfit.link.busy import RateEffect
from linkfit.link.loss import fit_loss

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import ArrayLike, NDArray

    from linkfit.ingest.trace import LatencySamples

N_QUANTILES = 201
# median and 90th percentile of the mean round trip of 13,943 uplink tests over LTE and 5G
# (year-long open uplink measurements, IFIP Networking 2024)
PRIOR_MEDIAN_RTT_S = 0.056
PRIOR_P90_RTT_S = 0.101
_PRIOR_SIGMA = float(np.log(PRIOR_P90_RTT_S / PRIOR_MEDIAN_RTT_S) / NormalDist().inv_cdf(0.9))
ENOUGH_PROBES = 30  # a judgement: from here on the measured quantiles speak for themselves
_PRIOR_PROBES = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatencyModel:
    """Quantiles of the round trip on an even grid of probabilities, and the share of loss.

    Parameters
    ----------
    idle_rtts_s, loaded_rtts_s : array, shape (q,)
        Quantiles at probabilities 0 ... 1 of probes that came back; `loaded` None: never
        measured while the link was busy. [s]
    loss_frac : float
        Lost over sent, all probes. [fraction]
    n_idle, n_loaded : int
        Probes behind the quantiles; 0 for a prior.
    random_loss_frac, mean_burst_probes : float, optional
        Loss outside outages [fraction], and how many probes it takes in a row [probes]; None
        where no single probes were sent closely after each other.
    up_effect, down_effect : RateEffect, optional
        How busy round trips depend on the rate of each direction; None: not measured together.
    """

    idle_rtts_s: "NDArray[np.float64]"
    loaded_rtts_s: "NDArray[np.float64] | None"
    loss_frac: float
    n_idle: int
    n_loaded: int
    random_loss_frac: float | None = None
    mean_burst_probes: float | None = None
    up_effect: RateEffect | None = None
    down_effect: RateEffect | None = None

    def __post_init__(self) -> None:
        for name in ("idle_rtts_s", "loaded_rtts_s"):
            value = getattr(self, name)
            if value is None:
                continue
            array = np.ascontiguousarray(value, dtype=np.float64).view()
            if array.ndim != 1 or array.size < 2 or not (array > 0).all():
                raise InputError(f"{name}: expected at least 2 quantiles > 0, got {array.size}")
            if (np.diff(array) < 0).any() or not np.isfinite(array).all():
                raise InputError(f"{name}: expected finite quantiles that do not fall")
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def draw_rtts_s(
        self,
        n: int,
        rng: "Generator",
        *,
        loaded: bool = False,
        rates_bps: "ArrayLike | None" = None,
        direction: str = "up",
    ) -> "NDArray[np.float64]":
        """`n` round trips; `loaded` falls back on idle ones where busy ones are unknown. [s]

        `rates_bps`, shape (n,), are those of `direction` at the same moments: where busy round
        trips were seen to depend on the rate, the part above the idle median follows it.
        [bit/s at the IP layer]
        """
        quantiles = self.idle_rtts_s
        if loaded and self.loaded_rtts_s is not None:
            quantiles = self.loaded_rtts_s
        grid = np.linspace(0.0, 1.0, quantiles.size)
        rtts_s = np.interp(rng.random(n), grid, quantiles)
        effect = self.up_effect if direction == "up" else self.down_effect
        if rates_bps is None or effect is None or quantiles is self.idle_rtts_s:
            return rtts_s
        idle_s = float(self.idle_rtts_s[self.idle_rtts_s.size // 2])
        queue_s = np.maximum(rtts_s - idle_s, 0.0)
        return rtts_s - queue_s + queue_s * effect.queue_factor(rates_bps)


def fit_latency(samples: "LatencySamples") -> LatencyModel | None:
    """The model of `samples`; None where no probe came back."""
    back = np.isfinite(samples.rtt_s)
    if not back.any():
        return None
    loaded = samples.loaded & back
    idle = ~samples.loaded & back
    if not idle.any():  # busy round trips only: an upper bound for idle ones
        idle = loaded
    chain = fit_loss(samples)
    return LatencyModel(
        idle_rtts_s=_quantiles(samples, idle),
        loaded_rtts_s=_quantiles(samples, loaded) if loaded.any() else None,
        loss_frac=samples.loss_frac,
        n_idle=int(samples.n_probes[idle].sum()),
        n_loaded=int(samples.n_probes[loaded].sum()),
        random_loss_frac=None if chain is None else chain.loss_frac,
        mean_burst_probes=chain.mean_burst_probes if chain and chain.loss_frac else None,
    )


def latency_prior() -> LatencyModel:
    """Round trips of cellular links in general, for a link whose latency was never measured.

    Notes
    -----
    Lognormal through the published median (56 ms) and 90th percentile (101 ms), cut at its
    0.1 % and 99.9 % points; loss is unknown and set to 0.
    """
    return LatencyModel(
        idle_rtts_s=_lognormal_quantiles(float(np.log(PRIOR_MEDIAN_RTT_S)), _PRIOR_SIGMA),
        loaded_rtts_s=None,
        loss_frac=0.0,
        n_idle=0,
        n_loaded=0,
    )


def _quantiles(samples: "LatencySamples", keep: "NDArray[Any]") -> "NDArray[np.float64]":
    """Quantiles of the round trips in `keep`; few of them say little of the spread.

    Below `ENOUGH_PROBES` the logarithms are taken as normal around their mean, with a variance
    pooled from theirs and the prior's (which counts as `_PRIOR_PROBES` of them), widened by what
    so few leave unknown of the mean.
    """
    rtts_s = samples.rtt_s[keep]
    n = int(samples.n_probes[keep].sum())
    if n >= ENOUGH_PROBES:
        return quantile_grid(rtts_s)
    logs = np.log(rtts_s)
    own = float(((logs - logs.mean()) ** 2).sum())
    variance = (_PRIOR_PROBES * _PRIOR_SIGMA**2 + own) / (_PRIOR_PROBES + n - 1)
    return _lognormal_quantiles(float(logs.mean()), float(np.sqrt(variance * (1 + 1 / n))))


def _lognormal_quantiles(mu: float, sigma: float) -> "NDArray[np.float64]":
    """Quantiles of a lognormal round trip, cut at its 0.1 % and 99.9 % points. [s]"""
    probs = np.clip(np.linspace(0.0, 1.0, N_QUANTILES), 0.001, 0.999)
    z = np.array([NormalDist().inv_cdf(prob) for prob in probs.tolist()])
    return np.exp(mu + sigma * z)


def quantile_grid(rtts_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Quantiles of round trips at the probabilities that a model keeps, shape (q,). [s]"""
    return np.quantile(rtts_s, np.linspace(0.0, 1.0, N_QUANTILES))
