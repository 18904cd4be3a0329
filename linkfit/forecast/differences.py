"""Difference: one quantity of two links, how far apart, and whether that is more than chance."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.forecast.draws import INTERVAL_LEVELS

if TYPE_CHECKING:
    from numpy.typing import NDArray

CHANCE_PROB = 0.05  # of calling any difference of two records of one link real


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """The second link's value less the first's, with its 90 % interval.

    Parameters
    ----------
    what : str
        The quantity in words: "median", "5 %", or the name of a task.
    first_value, second_value : float
        The value of each link; inf: never. [unit]
    value, low, high : float
        ``second_value - first_value``, 5 and 95 % points; inf where one of them never ends. [unit]
    prob_more : float
        That the second link's value is the larger one.
    p_value : float
        Two-sided: how often two records of one link would differ by as much.
    real : bool
        More than chance and drift explain, all quantities of the comparison taken together.
    """

    what: str
    unit: str
    first_value: float
    second_value: float
    value: float
    low: float
    high: float
    prob_more: float
    p_value: float
    real: bool = False


def difference_of(
    what: str,
    unit: str,
    values: tuple[float, float],
    first_values: "NDArray[np.float64]",
    second_values: "NDArray[np.float64]",
) -> Difference:
    """The difference of `values`, from what each link's value may be: arrays of shape (b,).

    Both arrays hold independent draws (resamples, worlds) of one link each, paired at random by
    the caller.

    Notes
    -----
    ``p = 2 (1 + least) / (1 + b)``, `least` the smaller number of pairs with the second link
    ahead or with the first: a count of resamples is never 0 chance (A. C. Davison, D. V. Hinkley,
    "Bootstrap Methods and their Application", Cambridge 1997, section 4.2; from memory). Pairs
    that are equal, "never" twice among them, count half for each.
    """
    if first_values.shape != second_values.shape or first_values.size == 0:
        raise InputError(
            f"{what}: expected draws of one shape, got {first_values.shape} and "
            f"{second_values.shape}"
        )
    n_pairs = first_values.size
    n_equal = float(np.sum(first_values == second_values))
    n_more = float(np.sum(second_values > first_values)) + 0.5 * n_equal
    least = min(n_more, n_pairs - n_more)
    low, high = np.quantile(_less(second_values, first_values), INTERVAL_LEVELS,
                            method="inverted_cdf")  # fmt: skip
    value = float(_less(np.array([values[1]]), np.array([values[0]]))[0])
    return Difference(
        what=what,
        unit=unit,
        first_value=values[0],
        second_value=values[1],
        value=value,
        low=min(float(low), value),
        high=max(float(high), value),
        prob_more=n_more / n_pairs,
        p_value=min(2.0 * (1.0 + least) / (1.0 + n_pairs), 1.0),
    )


def _less(
    second_values: "NDArray[np.float64]", first_values: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """``second - first``, 0 where both never end."""
    equal = second_values == first_values
    with np.errstate(invalid="ignore"):
        return np.where(equal, 0.0, second_values - first_values)


def judged(found: Sequence[Difference], chance_prob: float = CHANCE_PROB) -> tuple[Difference, ...]:
    """`found` with `real` set: any false alarm among all of them has at most `chance_prob`.

    Notes
    -----
    Step-up: the largest p-value that is at most ``chance / (values that are not smaller)`` counts
    as real with all below it. Holds where the quantities move together, as those of one record do.

    Source
    ------
    Y. Hochberg, "A sharper Bonferroni procedure for multiple tests of significance", Biometrika
    75(4), 800-802, 1988 (from memory).
    """
    values = sorted((one.p_value for one in found), reverse=True)
    limit = next((p for rank, p in enumerate(values, start=1) if p <= chance_prob / rank), -1.0)
    return tuple(replace(one, real=one.p_value <= limit) for one in found)
