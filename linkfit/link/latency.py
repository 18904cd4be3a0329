"""Round trips and loss: what the probes saw, idle and while the link was busy."""

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.ingest.trace import LatencySamples

N_QUANTILES = 201
# median and 90th percentile of the mean round trip of 13,943 uplink tests over LTE and 5G
# (year-long open uplink measurements, IFIP Networking 2024)
PRIOR_MEDIAN_RTT_S = 0.056
PRIOR_P90_RTT_S = 0.101


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
    """

    idle_rtts_s: "NDArray[np.float64]"
    loaded_rtts_s: "NDArray[np.float64] | None"
    loss_frac: float
    n_idle: int
    n_loaded: int

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
        self, n: int, rng: "Generator", *, loaded: bool = False
    ) -> "NDArray[np.float64]":
        """`n` round trips; `loaded` falls back on idle ones where busy ones are unknown. [s]"""
        quantiles = self.idle_rtts_s
        if loaded and self.loaded_rtts_s is not None:
            quantiles = self.loaded_rtts_s
        grid = np.linspace(0.0, 1.0, quantiles.size)
        return np.interp(rng.random(n), grid, quantiles)


def fit_latency(samples: "LatencySamples") -> LatencyModel | None:
    """The model of `samples`; None where no probe came back."""
    back = np.isfinite(samples.rtt_s)
    if not back.any():
        return None
    loaded = samples.loaded & back
    idle = ~samples.loaded & back
    if not idle.any():  # busy round trips only: an upper bound for idle ones
        idle = loaded
    return LatencyModel(
        idle_rtts_s=_quantiles(samples, idle),
        loaded_rtts_s=_quantiles(samples, loaded) if loaded.any() else None,
        loss_frac=samples.loss_frac,
        n_idle=int(samples.n_probes[idle].sum()),
        n_loaded=int(samples.n_probes[loaded].sum()),
    )


def latency_prior() -> LatencyModel:
    """Round trips of cellular links in general, for a link whose latency was never measured.

    Notes
    -----
    Lognormal through the published median (56 ms) and 90th percentile (101 ms), cut at its
    0.1 % and 99.9 % points; loss is unknown and set to 0.
    """
    normal = NormalDist()
    sigma = np.log(PRIOR_P90_RTT_S / PRIOR_MEDIAN_RTT_S) / normal.inv_cdf(0.9)
    probs = np.clip(np.linspace(0.0, 1.0, N_QUANTILES), 0.001, 0.999)
    z = np.array([normal.inv_cdf(prob) for prob in probs.tolist()])
    return LatencyModel(
        idle_rtts_s=PRIOR_MEDIAN_RTT_S * np.exp(sigma * z),
        loaded_rtts_s=None,
        loss_frac=0.0,
        n_idle=0,
        n_loaded=0,
    )


def _quantiles(samples: "LatencySamples", keep: "NDArray[Any]") -> "NDArray[np.float64]":
    return quantile_grid(samples.rtt_s[keep])


def quantile_grid(rtts_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Quantiles of round trips at the probabilities that a model keeps, shape (q,). [s]"""
    return np.quantile(rtts_s, np.linspace(0.0, 1.0, N_QUANTILES))
