"""How many tests bring the interval of the median or the 5th percentile to a wanted width.

A test gives one rate. Tests of the same hours are not independent, so what is counted are cells:
the mean of the tests in one part of one day. Logarithms of their rates are taken as normal.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from linkfit._checks import count, non_negative, one_of, positive
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

QUANTILES = {"median": 0.5, "p05": 0.05}
LEVEL_PROB = 0.95  # of the interval that is to become narrow
# spread between repeated tests at one place, as a coefficient of variation: the middle of what a
# year of open uplink tests shows (5G quartiles 0.18, 0.30, 0.49; LTE 0.40, 0.52, 0.71; IFIP
# Networking 2024); it counts as so many cells, so that its own 90 % interval is about 0.3 to 0.8
PRIOR_COV = 0.42
PRIOR_CELLS = 6
TESTS_PER_CELL = 2
WIDTH_FRAC = 0.20  # of the median's interval, where nobody asks for another
LEAST_SECONDS = 4  # the first one is slow start; longer tests of one hour buy little
_ROUND_TRIPS = 20  # that slow start and its losses may take before a test tells of the link
_INTERVAL_PROB = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Cells needed in all for the wanted width: as many as the spread is known to ask for.

    `p05`, `p50`, `p95` are counts over what is unknown of the spread; `without_model` is the
    least count for a bound that assumes nothing (0 where none is asked for).
    """

    p05: int
    p50: int
    p95: int
    without_model: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the cells measured so far tell of one direction.

    `low_bps`, `high_bps` bound the quantile at 95 %; `width_frac` is how far the farther of them
    lies from the estimate, as a factor less one. `rank_low_bps`, `rank_high_bps` is the interval
    of the median by ranks, which assumes nothing (None below 6 cells).
    """

    n_cells: int
    cov: float
    estimate_bps: float
    low_bps: float
    high_bps: float
    width_frac: float
    rank_low_bps: float | None = None
    rank_high_bps: float | None = None


def log_sigma(cov: float) -> float:
    """Standard deviation of the logarithm of a lognormal quantity of this variation. [1]"""
    return math.sqrt(math.log1p(positive("cov", cov) ** 2))


def quantile_factor(of: str) -> float:
    """Standard error of a sample quantile of a normal law, over sigma / sqrt(n). [1]

    Notes
    -----
    ``sqrt(q (1 - q)) / phi(z_q)``: 1.2533 for the median, 2.11 for the 5th percentile.
    Source: A. M. Mood, F. A. Graybill, D. C. Boes, "Introduction to the Theory of Statistics",
    3rd edition 1974, chapter VI (value from memory).
    """
    prob = QUANTILES[one_of("of", of, tuple(QUANTILES))]
    z = float(special.ndtri(prob))
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return math.sqrt(prob * (1 - prob)) / density


def cells_for(cov: float, width_frac: float, *, of: str = "median") -> int:
    """Cells whose 95 % interval of the quantile reaches from 1/(1 + w) to 1 + w times it.

    Raises
    ------
    InputError
        If the width or the variation is not above 0.
    """
    margin = math.log1p(positive("width", width_frac))
    z = float(special.ndtri((1 + LEVEL_PROB) / 2))
    return max(math.ceil((z * quantile_factor(of) * log_sigma(cov) / margin) ** 2), 1)


def cells_without_model(prob: float, *, level_prob: float = LEVEL_PROB) -> int:
    """Fewest tests of which the least lies below the quantile `prob` with this probability.

    Source: S. S. Wilks, "Determination of sample sizes for setting tolerance limits", Ann. Math.
    Stat. 12(1), 91-96, 1941: ``1 - (1 - p)^n >= level`` (value from memory).
    """
    return math.ceil(math.log(1 - level_prob) / math.log1p(-prob))


def median_ranks(n_cells: int, *, level_prob: float = LEVEL_PROB) -> tuple[int, int] | None:
    """Ranks, from 1, of the values that bound the median; None where there are too few.

    Notes
    -----
    The largest j with ``1 - 2 Bin(j - 1; n, 1/2) >= level``, and its mirror.
    """
    best = None
    for j in range(1, count("n_cells", n_cells, least=0) // 2 + 1):
        if 1 - 2 * float(special.bdtr(j - 1, n_cells, 0.5)) >= level_prob:
            best = j
    return None if best is None else (best, n_cells + 1 - best)


def need(rates_bps: "NDArray[np.float64]", width_frac: float, *, of: str = "median") -> Need:
    """Cells needed in all, from the rates of those there are, shape (m,); none: by the prior."""
    covs = [_cov(prob, rates_bps) for prob in _INTERVAL_PROB]
    low, middle, high = (cells_for(cov, width_frac, of=of) for cov in covs)
    least = 0 if of == "median" else cells_without_model(QUANTILES[of])
    return Need(
        p05=max(low, least), p50=max(middle, least), p95=max(high, least), without_model=least
    )


def known(rates_bps: "NDArray[np.float64]", *, of: str = "median") -> Known | None:
    """The quantile and its interval from the rates of cells, shape (m,); None without any.

    Notes
    -----
    The spread is pooled with the prior (a scaled inverse chi-squared law), and the interval is
    that of Student's t with the degrees of freedom of both. The estimate is the parametric one,
    the width that of the sample quantile, which is wider: it allows for a law that is not quite
    lognormal.
    """
    rates = _positive(rates_bps)
    n = rates.size
    if not n:
        return None
    freedom, variance = _spread(rates)
    sigma = math.sqrt(variance)
    prob = QUANTILES[one_of("of", of, tuple(QUANTILES))]
    centre = float(np.log(rates).mean()) + float(special.ndtri(prob)) * sigma
    t = float(special.stdtrit(freedom, (1 + LEVEL_PROB) / 2))
    margin = t * quantile_factor(of) * sigma / math.sqrt(n)
    ranks = median_ranks(n) if of == "median" else None
    ordered = np.sort(rates)
    return Known(
        n_cells=n, cov=math.sqrt(math.expm1(variance)), estimate_bps=math.exp(centre),
        low_bps=math.exp(centre - margin), high_bps=math.exp(centre + margin),
        width_frac=math.expm1(margin),
        rank_low_bps=None if ranks is None else float(ordered[ranks[0] - 1]),
        rank_high_bps=None if ranks is None else float(ordered[ranks[1] - 1]),
    )  # fmt: skip


def is_reached(found: Known | None, wanted: Need, width_frac: float) -> bool:
    """Is the interval as narrow as wanted, and are there as many cells as a bound asks for?"""
    if found is None:
        return False
    return found.width_frac <= width_frac and found.n_cells >= wanted.without_model


@dataclass(frozen=True, slots=True, kw_only=True)
class MoreCells:
    """Cells there are and needed in one direction; `n_p05` to `n_p95` are further ones, over
    what is unknown of the spread, each of `TESTS_PER_CELL` tests.
    """

    found: Known | None
    wanted: Need
    reached: bool
    n_p05: int
    n_p50: int
    n_p95: int


def more_cells(
    rates_bps: "NDArray[np.float64]", width_frac: float = WIDTH_FRAC, *, of: str = "median"
) -> MoreCells:
    """Further cells until the interval is `width_frac` wide, from the rates of those there are.

    The one place that counts them: every command that names a number of tests asks here.
    """
    found, wanted = known(rates_bps, of=of), need(rates_bps, width_frac, of=of)
    reached = is_reached(found, wanted, width_frac)

    def more(n_needed: int) -> int:
        # as many as the formula asks for may be there and the interval still too wide: one more
        return 0 if reached else max(n_needed - rates_bps.size, 1)

    return MoreCells(
        found=found, wanted=wanted, reached=reached,
        n_p05=more(wanted.p05), n_p50=more(wanted.p50), n_p95=more(wanted.p95),
    )  # fmt: skip


def seconds_of_a_test(rtt_s: float | None) -> int:
    """How long one test should last at this round trip of the idle link. [s]"""
    return max(LEAST_SECONDS, math.ceil(2 + _ROUND_TRIPS * non_negative("rtt_s", rtt_s or 0.0)))


def _positive(rates_bps: "NDArray[np.float64]") -> "NDArray[np.float64]":
    rates = np.asarray(rates_bps, dtype=np.float64)
    if rates.size and not (np.isfinite(rates) & (rates > 0)).all():
        raise InputError("rates_bps: expected finite numbers > 0, got others; leave outages out")
    return rates


def _spread(rates_bps: "NDArray[np.float64]") -> tuple[float, float]:
    """Degrees of freedom and scale of the variance of the logarithm, with the prior's."""
    logs = np.log(_positive(rates_bps))
    prior = log_sigma(PRIOR_COV) ** 2
    seen = float(((logs - logs.mean()) ** 2).sum()) if logs.size else 0.0
    freedom = PRIOR_CELLS + max(logs.size - 1, 0)
    return freedom, (PRIOR_CELLS * prior + seen) / freedom


def _cov(prob: float, rates_bps: "NDArray[np.float64]") -> float:
    """Quantile of the variation over what is unknown of it. [1]"""
    freedom, variance = _spread(rates_bps)
    drawn = freedom * variance / float(special.chdtri(freedom, prob))
    return math.sqrt(math.expm1(drawn))
