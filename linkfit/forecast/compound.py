"""The sum of a random number of random sizes (compound Poisson), as draws."""

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

EXACT_COUNT = 100.0  # above this mean number of terms no size is drawn
_NO_MORE_PROB = 1e-18  # below what a float64 in [0, 1) can tell from 1
EXACT_SQUARE_COV = 0.1  # nor where the sum's squared coefficient of variation is below this


def compound_bytes(
    mean_number: "NDArray[np.float64]",
    mean_bytes: float,
    square_cov: float,
    rng: np.random.Generator,
) -> "NDArray[np.float64]":
    """Draws of the sum of Poisson(`mean_number`) lognormal sizes, of its shape. [bytes]

    Parameters
    ----------
    mean_number : array, shape (d,)
        Mean number of terms in each draw, >= 0.
    mean_bytes : float
        Mean size. [bytes]
    square_cov : float
        Squared coefficient of variation of a size, exp(sigma^2) - 1 of a lognormal.
    rng : numpy.random.Generator
        The same state gives the same uniforms whatever the arguments, so that fewer or smaller
        terms never give a larger sum as long as the method stays the same.

    Notes
    -----
    Where terms are few or very unequal each is drawn. Else a lognormal of the same mean n E[S]
    and variance n E[S^2]: quantiles within 3 %; for a geometric standard deviation of 5 and
    just over `EXACT_COUNT` terms the 5 % point is up to 15 % low and the 95 % point 6 % high.

    Source
    ------
    L. F. Fenton, "The sum of log-normal probability distributions in scatter transmission
    systems", IRE Trans. Commun. Syst. 8(1), 57-67, 1960 (from memory; matching of moments).
    """
    if not mean_number.size or not mean_number.max() > 0:
        return np.zeros(mean_number.shape)
    n_mean = float(mean_number.mean())
    if n_mean > EXACT_COUNT or 1 + square_cov <= EXACT_SQUARE_COV * n_mean:
        with np.errstate(divide="ignore"):
            variance = np.log1p((1 + square_cov) / mean_number)
        z = rng.standard_normal(mean_number.size)
        finite = np.isfinite(variance)
        spread = np.where(finite, variance, 0.0)
        return mean_number * mean_bytes * np.exp(np.sqrt(spread) * z - spread / 2)
    return _each_drawn(mean_number, mean_bytes, square_cov, rng)


def _each_drawn(
    mean_number: "NDArray[np.float64]",
    mean_bytes: float,
    square_cov: float,
    rng: np.random.Generator,
) -> "NDArray[np.float64]":
    """The sum with each term drawn; term k of a draw is the same whatever the number of terms."""
    u = rng.random(mean_number.size)
    numbers = poisson_numbers(u, mean_number)
    sigma2 = math.log1p(square_cov)
    total = np.zeros(mean_number.shape)
    for index in range(int(numbers.max())):
        z = rng.standard_normal(mean_number.size)
        total += np.where(numbers > index, np.exp(math.sqrt(sigma2) * z), 0.0)
    return total * (mean_bytes * math.exp(-sigma2 / 2))


def poisson_numbers(
    u: "NDArray[np.float64]", mean_number: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """Poisson draws with means `mean_number` by inversion, so that they grow with their mean."""
    term = np.exp(-mean_number)
    reached = term.copy()
    numbers = np.zeros(mean_number.shape)
    top, index = float(mean_number.max(initial=0.0)), 0
    while (below := u > reached).any() and (index <= top or term.max() > _NO_MORE_PROB):
        numbers += below
        index += 1
        term = term * mean_number / index
        reached += term
    return numbers
