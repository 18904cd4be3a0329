"""What a set of measurements looks like: percentiles and jitter as standards define them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linkfit.errors import InputError

_JITTER_GAIN = 1 / 16  # RFC 3550 section 6.4.1


def percentile(values: ArrayLike, share_frac: float) -> float:
    """Smallest x of which at least `share_frac` of `values` are at or below it.

    Parameters
    ----------
    values : array, shape (n,)
        Any numbers, infinity included; at least one.
    share_frac : float
        In [0, 1]; 0 gives minus infinity.

    Raises
    ------
    InputError
        If there are no samples, one is NaN, or `share_frac` lies outside [0, 1].

    Notes
    -----
    Always one of the samples, never a mean of two, so that infinite delays stay possible.

    Source
    ------
    RFC 2330 section 11.3. Its example calls the 15th percentile of six samples minus infinity,
    where its own definition gives the smallest sample; the definition is followed.
    """
    if not 0 <= share_frac <= 1:
        raise InputError(f"share_frac: expected a number from 0 to 1, got {share_frac:g}")
    ordered = _sorted(values)
    if share_frac == 0:
        return -np.inf
    # the share of k samples is k / n; rounding must not ask for one sample more
    rank = int(np.ceil(share_frac * ordered.size * (1 - 1e-12)))
    return float(ordered[max(rank, 1) - 1])


def interarrival_jitter_s(delays_s: ArrayLike) -> float:
    """Smoothed mean of how much the delay differs between packets that follow each other. [s]

    Parameters
    ----------
    delays_s : array, shape (n,)
        Delays in the order of sending, >= 0; lost packets left out. [s]

    Returns
    -------
    jitter_s : float
        0 for fewer than two packets. [s]

    Raises
    ------
    InputError
        If a delay is not finite.

    Notes
    -----
    ``J += (|D| - J) / 16`` with D the difference of two delays; O(n).

    Source
    ------
    RFC 3550 section 6.4.1.
    """
    delays = np.asarray(delays_s, dtype=np.float64)
    if not np.isfinite(delays).all():
        raise InputError("delays_s: expected finite numbers, got NaN or infinity; leave losses out")
    jitter_s = 0.0
    for difference_s in np.abs(np.diff(delays)).tolist():
        jitter_s += (difference_s - jitter_s) * _JITTER_GAIN
    return jitter_s


def _sorted(values: ArrayLike) -> NDArray[np.float64]:
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    if ordered.size == 0:
        raise InputError("values: expected at least one number, got none")
    if np.isnan(ordered[-1]):  # NaN sorts last
        raise InputError("values: expected numbers, got NaN")
    return ordered
