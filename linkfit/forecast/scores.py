"""The score of a probabilistic forecast: CRPS of its draws."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def crps(draws: "ArrayLike", observed: "ArrayLike") -> "NDArray[np.float64]":
    """Continuous ranked probability score of a sample forecast; lower is better.

    Parameters
    ----------
    draws : array, shape (d,) or (n, d)
        Equally likely draws, finite; one row for all observations or one each.
    observed : array, shape (n,)
        What happened, finite.

    Returns
    -------
    crps : array, shape (n,)
        In the unit of the draws; the absolute error where all draws are equal.

    Raises
    ------
    InputError
        If a value is not finite: a forecast of "never" has no finite score.

    Notes
    -----
    ``mean |X - y| - mean |X - X'| / 2`` over the empirical law of the draws. With the draws
    sorted and summed once, each observation costs one search: O((d + n) log d).

    Source
    ------
    T. Gneiting, A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation",
    JASA 102(477), 359-378, 2007, doi:10.1198/016214506000001437.
    """
    y = np.atleast_1d(np.asarray(observed, dtype=np.float64))
    x = np.sort(np.asarray(draws, dtype=np.float64), axis=-1)
    if x.size == 0 or x.ndim not in (1, 2) or (x.ndim == 2 and x.shape[0] != y.size):
        raise InputError(f"draws: expected shape (d,) or ({y.size}, d), got {x.shape}")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError("draws: expected finite draws and observations, got inf or NaN")
    d = x.shape[-1]
    spread = x @ (2.0 * np.arange(1, d + 1) - d - 1) / d**2
    if x.ndim == 2:
        return np.abs(x - y[:, None]).mean(axis=1) - spread
    total = np.concatenate(([0.0], np.cumsum(x)))
    below = np.searchsorted(x, y)
    distance = y * below - total[below] + (total[-1] - total[below]) - y * (d - below)
    return distance / d - spread
