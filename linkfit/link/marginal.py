"""Marginal: how often which rate occurs, with outages apart, and how well a family tells it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import fraction
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

# a second below this share of the median rate counts as an outage; common practice
OUTAGE_SHARE_FRAC = 0.01
LEAST_P_VALUE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyScore:
    """One family tried: parameters from all seconds, and its held-out log score.

    `log_score` is the mean log density of seconds in blocks that the fit had not seen (higher
    is better), `standard_error` its error over the blocks.
    """

    name: str
    parameters: tuple[float, ...]
    n_free: int
    log_score: float
    standard_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outages:
    """Stretches without service: an alternating process of up and down times. [s]"""

    n_outages: int
    share_frac: float
    mean_s: float
    longest_s: float
    mean_up_s: float
    below_bps: float

    def __post_init__(self) -> None:
        fraction("share_frac", self.share_frac)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marginal:
    """Rates of single seconds.

    Parameters
    ----------
    rates_bps : array, shape (q,)
        Smoothed empirical quantiles at even probabilities 0 ... 1, outages not included.
        [bit/s at the IP layer]
    outages : Outages
        What was split off.
    families : tuple of FamilyScore
        Tried families, best first; empty with too few seconds to tell.
    p_value : float or None
        Of the best family's distance to the data, by parametric bootstrap in blocks.
    n_seconds, n_lower_bounds : int
        Seconds seen, and samples known only to be exceeded.
    """

    rates_bps: "NDArray[np.float64]"
    outages: Outages
    families: tuple[FamilyScore, ...]
    p_value: float | None
    n_seconds: int
    n_lower_bounds: int = 0

    def __post_init__(self) -> None:
        rates = np.ascontiguousarray(self.rates_bps, dtype=np.float64).view()
        if rates.ndim != 1 or not (np.isfinite(rates) & (rates >= 0)).all():
            raise InputError("rates_bps: expected finite quantiles >= 0")
        rates.flags.writeable = False
        object.__setattr__(self, "rates_bps", rates)

    @property
    def best(self) -> FamilyScore | None:
        """The family with the best held-out score, simpler ones first among equals."""
        return self.families[0] if self.families else None

    @property
    def fits(self) -> bool:
        """Does the best family describe the data? If not, the empirical quantiles stand."""
        return self.p_value is not None and self.p_value >= LEAST_P_VALUE

    def quantile(self, levels: "ArrayLike") -> "NDArray[np.float64]":
        """Smoothed empirical quantiles of the rate, outages (0) included. [bit/s]"""
        wanted = np.asarray(levels, dtype=np.float64)
        share = self.outages.share_frac
        if self.rates_bps.size == 0:
            return np.zeros(wanted.shape)
        inside = np.clip((wanted - share) / max(1 - share, 1e-12), 0.0, 1.0)
        grid = np.linspace(0.0, 1.0, self.rates_bps.size)
        return np.where(wanted < share, 0.0, np.interp(inside, grid, self.rates_bps))
