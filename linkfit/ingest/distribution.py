"""What a set of measurements looks like: percentiles as standards define them, memory, jitter."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linkfit.errors import InputError

_JITTER_GAIN = 1 / 16  # RFC 3550 section 6.4.1


def edf(values: ArrayLike, limit: float) -> float:
    """Share of `values` that are at most `limit`, in [0, 1].

    Parameters
    ----------
    values : array, shape (n,)
        Any numbers, infinity included (a lost probe's delay); at least one.
    limit : float
        In their unit.

    Raises
    ------
    InputError
        If there are no samples or one is NaN.

    Source
    ------
    V. Paxson et al., "Framework for IP Performance Metrics", RFC 2330 section 11.3.
    """
    ordered = _sorted(values)
    return float(np.searchsorted(ordered, limit, side="right")) / ordered.size


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


def lag_autocorrelation(values: ArrayLike, lag: int = 1) -> float:
    """Correlation of a series with itself `lag` samples later, in [-1, 1].

    Parameters
    ----------
    values : array, shape (n,)
        A regular series, finite and not constant, longer than `lag`.
    lag : int
        At least 1.

    Raises
    ------
    InputError
        If the series is too short, constant or not finite.

    Notes
    -----
    ``sum(d[i] d[i + lag]) / sum(d[i]^2)`` with ``d = values - mean``, so that it never
    exceeds 1 in size.

    Source
    ------
    NIST Statistical Reference Datasets, univariate summary statistics.
    """
    series = np.asarray(values, dtype=np.float64)
    if lag < 1 or series.size <= lag:
        raise InputError(f"values: expected more than lag {lag} values, got {series.size}")
    if not np.isfinite(series).all():
        raise InputError("values: expected finite numbers, got NaN or infinity")
    around = series - series[0]  # large offsets cancel before the mean is taken
    around = around - around.mean()
    total = float(around @ around)
    if total == 0:
        raise InputError(f"values: expected values that differ, got {series[0]:g} throughout")
    return float(around[:-lag] @ around[lag:]) / total


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


def delay_variation_s(delays_s: ArrayLike) -> NDArray[np.float64]:
    """Difference of each delay from that of the packet before it, shape (n - 1,). [s]

    Source
    ------
    RFC 3393 section 2 (the selection "previous packet").
    """
    return np.diff(np.asarray(delays_s, dtype=np.float64))


def _sorted(values: ArrayLike) -> NDArray[np.float64]:
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    if ordered.size == 0:
        raise InputError("values: expected at least one number, got none")
    if np.isnan(ordered[-1]):  # NaN sorts last
        raise InputError("values: expected numbers, got NaN")
    return ordered
