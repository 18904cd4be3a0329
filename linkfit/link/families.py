"""Distributions of a rate x > 0: each is data, its law in a few closed formulas.

The location is never free: a rate starts at 0, and a free location makes likelihoods that grow
without limit (and general fitters return such answers silently).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import expit, gammainc, gammaincinv, gammaln, log_ndtr, logsumexp, ndtr, ndtri

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Law = Callable[[NDArray[np.float64], tuple[float, ...]], NDArray[np.float64]]

_LOG_SQRT_2PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A distribution on x > 0.

    `scipy_name` is its name in scipy.stats ("" if it is not there), `parameters` the names of
    the `n_free` parameters in the order of every tuple here. `log_density`, `probability` and
    `quantile` take values and parameters.
    """

    name: str
    scipy_name: str
    parameters: tuple[str, ...]
    source: str
    log_density: "Law"
    probability: "Law"
    quantile: "Law"

    @property
    def n_free(self) -> int:
        """Number of free parameters."""
        return len(self.parameters)


def family(name: str) -> Family:
    """The family called `name`."""
    if name not in FAMILIES:
        raise InputError(f"family: expected one of {', '.join(FAMILIES)}, got {name!r}")
    return FAMILIES[name]


def _lognormal_log_density(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    sigma, scale = p
    log_x = np.log(x)
    return -0.5 * ((log_x - np.log(scale)) / sigma) ** 2 - log_x - np.log(sigma) - _LOG_SQRT_2PI


def _gamma_log_density(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    shape, scale = p
    return (shape - 1) * np.log(x / scale) - x / scale - gammaln(shape) - np.log(scale)


def _weibull_log_density(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    shape, scale = p
    log_z = np.log(x / scale)
    return np.log(shape / scale) + (shape - 1) * log_z - np.exp(shape * log_z)


def _burr_log_density(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    c, d, scale = p
    log_z = np.log(x / scale)
    return np.log(c * d / scale) + (c - 1) * log_z - (d + 1) * np.logaddexp(0.0, c * log_z)


def _burr_quantile(q: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    """In logarithms: a small d makes (1 - q)^(-1/d) larger than a float holds."""
    c, d, scale = p
    a = -np.log1p(-np.asarray(q, dtype=np.float64)) / d
    return np.exp(np.log(scale) + (a + np.log(-np.expm1(-a))) / c)


def _mixture_parts(
    x: "NDArray[np.float64]", p: tuple[float, ...]
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Standardised logarithms, shape (2, n), and log weights less log sigmas, shape (2, 1)."""
    weight, sigma1, scale1, sigma2, scale2 = p
    sigma = np.array([[sigma1], [sigma2]])
    z = (np.log(x)[None, :] - np.log([[scale1], [scale2]])) / sigma
    return z, np.log([[weight], [1 - weight]]) - np.log(sigma)


def _mixture_log_density(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    x = np.asarray(x, dtype=np.float64)
    z, log_weight = _mixture_parts(x.ravel(), p)
    out = logsumexp(log_weight - 0.5 * z**2, axis=0) - np.log(x.ravel()) - _LOG_SQRT_2PI
    return out.reshape(x.shape)


def _mixture_probability(x: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    weight, sigma1, scale1, sigma2, scale2 = p
    log_x = np.log(x)
    low = ndtr((log_x - np.log(scale1)) / sigma1)
    return weight * low + (1 - weight) * ndtr((log_x - np.log(scale2)) / sigma2)


def _mixture_quantile(q: "NDArray[np.float64]", p: tuple[float, ...]) -> "NDArray[np.float64]":
    """By bisection: the answer lies between the quantiles of the two components."""
    _, sigma1, scale1, sigma2, scale2 = p
    q = np.asarray(q, dtype=np.float64)
    ends = np.log(scale1) + sigma1 * ndtri(q), np.log(scale2) + sigma2 * ndtri(q)
    low, high = np.minimum(*ends), np.maximum(*ends)
    inside = np.isfinite(low) & np.isfinite(high)
    low, high = np.where(inside, low, 0.0), np.where(inside, high, 0.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = _mixture_probability(np.exp(middle), p) < q
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(inside, np.exp(high), np.exp(ends[0]))


_JKB = "Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions, 2nd ed."

FAMILIES: Mapping[str, Family] = MappingProxyType(
    {
        law.name: law
        for law in (
            Family(
                name="lognormal",
                scipy_name="lognorm",
                parameters=("sigma", "scale"),
                source=f"{_JKB}, vol. 1, ch. 14",
                log_density=_lognormal_log_density,
                probability=lambda x, p: ndtr(np.log(x / p[1]) / p[0]),
                quantile=lambda q, p: p[1] * np.exp(p[0] * ndtri(q)),
            ),
            Family(
                name="gamma",
                scipy_name="gamma",
                parameters=("shape", "scale"),
                source=f"{_JKB}, vol. 1, ch. 17",
                log_density=_gamma_log_density,
                probability=lambda x, p: gammainc(p[0], x / p[1]),
                quantile=lambda q, p: p[1] * gammaincinv(p[0], q),
            ),
            Family(
                name="weibull",
                scipy_name="weibull_min",
                parameters=("shape", "scale"),
                source=f"{_JKB}, vol. 1, ch. 21",
                log_density=_weibull_log_density,
                probability=lambda x, p: -np.expm1(-((x / p[1]) ** p[0])),
                quantile=lambda q, p: p[1] * (-np.log1p(-q)) ** (1 / p[0]),
            ),
            Family(
                name="log-logistic",
                scipy_name="fisk",
                parameters=("shape", "scale"),
                source=f"{_JKB}, vol. 2, ch. 23",
                log_density=lambda x, p: _burr_log_density(x, (p[0], 1.0, p[1])),
                probability=lambda x, p: expit(p[0] * np.log(x / p[1])),
                quantile=lambda q, p: p[1] * (q / (1 - q)) ** (1 / p[0]),
            ),
            Family(
                name="burr12",
                scipy_name="burr12",
                parameters=("c", "d", "scale"),
                source="I. W. Burr, Ann. Math. Statist. 13(2), 215-232, 1942",
                log_density=_burr_log_density,
                probability=lambda x, p: (
                    -np.expm1(-p[1] * np.logaddexp(0.0, p[0] * np.log(x / p[2])))
                ),
                quantile=_burr_quantile,
            ),
            Family(
                name="two lognormals",
                scipy_name="",
                parameters=("weight", "sigma1", "scale1", "sigma2", "scale2"),
                source="McLachlan & Peel, Finite Mixture Models, 2000, ch. 3",
                log_density=_mixture_log_density,
                probability=_mixture_probability,
                quantile=_mixture_quantile,
            ),
        )
    }
)


def log_survival(law: Family, x: "ArrayLike", p: tuple[float, ...]) -> "NDArray[np.float64]":
    """Logarithm of the probability of more than `x`, what a lower bound contributes."""
    x = np.asarray(x, dtype=np.float64)
    if law.name == "lognormal":
        return log_ndtr(-np.log(x / p[1]) / p[0])
    if law.name == "weibull":
        return -((x / p[1]) ** p[0])
    return np.log1p(-np.minimum(law.probability(x, p), 1 - 1e-15))


def draw(
    law: Family, p: tuple[float, ...], n: Any, rng: np.random.Generator
) -> "NDArray[np.float64]":
    """`n` independent values."""
    return law.quantile(rng.random(n), p)
