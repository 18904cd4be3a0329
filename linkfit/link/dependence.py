"""Dependence in time: block bootstrap, block length, autocorrelation, variance of averages."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import ArrayLike, NDArray


WINDOWS_S = (1, 10, 60, 300, 1800)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dependence:
    """How seconds depend on each other, measured and in the model's futures.

    Parameters
    ----------
    lag1_correlation : float
        Of neighbouring seconds inside runs.
    block_s : float
        Optimal mean block of the stationary bootstrap. [s]
    windows_s : tuple of int
        Lengths of averages that the record can tell of. [s]
    spreads_bps, model_spreads_bps : tuple of float
        Standard deviation of averages over each window, measured and in futures without level
        uncertainty. [bit/s]
    """

    lag1_correlation: float
    block_s: float
    windows_s: tuple[int, ...]
    spreads_bps: tuple[float, ...]
    model_spreads_bps: tuple[float, ...]


def autocorrelation(values: "ArrayLike", n_lags: int) -> "NDArray[np.float64]":
    """Correlation at lags 0 ... `n_lags`; 1, 0, 0, ... for a constant series.

    Notes
    -----
    Sums of products of deviations over the sum of squares, as NIST's lag-1 coefficient r1; by
    FFT, O(n log n).
    """
    deviation = np.asarray(values, dtype=np.float64)
    deviation = deviation - deviation.mean()
    n = deviation.size
    n_lags = min(n_lags, n - 1)
    size = 1 << int(2 * n - 1).bit_length()
    spectrum = np.fft.rfft(deviation, size)
    products = np.fft.irfft(spectrum * np.conj(spectrum), size)[: n_lags + 1]
    scale = float(deviation @ deviation)
    if scale <= 1e-18 * n * max(float(np.mean(np.square(np.asarray(values)))), 1e-300):
        return np.eye(1, n_lags + 1)[0]
    return products / scale


def lag1_inside_runs(values: "NDArray[np.float64]", first: "NDArray[np.int64]") -> float:
    """Correlation of neighbours that lie in one run each; 0 where there is no such pair."""
    deviation = values - values.mean()
    variance = float(deviation @ deviation) / values.size
    across = first[1:-1]
    n_pairs = values.size - 1 - across.size
    if n_pairs < 1 or variance <= 1e-18 * float(values @ values) / values.size:
        return 0.0
    products = float(deviation[:-1] @ deviation[1:])
    products -= float(deviation[across - 1] @ deviation[across])
    return products / n_pairs / variance


def optimal_block_lengths(values: "ArrayLike") -> tuple[float, float]:
    """Block lengths for the stationary and the circular block bootstrap of a mean. [samples]

    Raises
    ------
    InputError
        With fewer than 8 values.

    Notes
    -----
    Flat-top lag window; the cut-off is twice the first lag at which K_n correlations in a row
    stay below 2 sqrt(log10(n) / n). A constant series has length 1.

    Source
    ------
    D. N. Politis, H. White, "Automatic block-length selection for the dependent bootstrap",
    Econometric Reviews 23(1), 53-70, 2004, with the correction of A. Patton, D. N. Politis,
    H. White, ibid. 28(4), 372-375, 2009.
    """
    series = np.asarray(values, dtype=np.float64)
    n = series.size
    if n < 8:
        raise InputError(f"values: expected at least 8, got {n}")
    deviation = series - series.mean()
    if not np.any(np.abs(deviation) > 1e-12 * max(abs(float(series.mean())), 1e-300)):
        return 1.0, 1.0
    in_a_row = max(5, int(np.log10(n)))
    longest = min(int(np.ceil(np.sqrt(n))) + in_a_row, n - 2)
    covariance, correlation = _lag_products(deviation, longest)
    cut_off = _cut_off(np.abs(correlation), in_a_row, 2 * np.sqrt(np.log10(n) / n), longest)
    lags = np.arange(-cut_off, cut_off + 1)
    window = np.minimum(1.0, 2.0 * (1.0 - np.abs(lags) / cut_off))
    weighted = window * covariance[np.abs(lags)]
    spread = float(np.abs(lags) @ weighted)
    long_run = float(weighted.sum())
    circular_d = 4.0 / 3.0 * long_run**2
    stationary_d = 2.0 * long_run**2
    limit = float(np.ceil(min(3.0 * np.sqrt(n), n / 3)))

    def length(d: float) -> float:
        return float(np.clip((2 * spread**2 / max(d, 1e-300)) ** (1 / 3) * n ** (1 / 3), 1, limit))

    return length(stationary_d), length(circular_d)


def _lag_products(
    deviation: "NDArray[np.float64]", n_lags: int
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Autocovariances and correlations of each lag's own two stretches."""
    n = deviation.size
    covariance = np.empty(n_lags + 1)
    correlation = np.empty(n_lags + 1)
    for lag in range(n_lags + 1):
        early, late = deviation[: n - lag], deviation[lag:]
        product = float(early @ late)
        covariance[lag] = product / n
        scale = np.sqrt(float(early @ early) * float(late @ late))
        correlation[lag] = product / scale if scale > 0 else 0.0
    return covariance, correlation


def _cut_off(correlation: "NDArray[np.float64]", in_a_row: int, bound: float, longest: int) -> int:
    """Twice the first lag of `in_a_row` insignificant correlations, at most `longest`."""
    large = correlation > bound
    for lag in range(1, longest - in_a_row + 1):
        if not large[lag : lag + in_a_row].any():
            return min(2 * lag, longest)
    return longest


def stationary_index(n: int, mean_block: float, rng: "Generator") -> "NDArray[np.int64]":
    """Indices 0 ... n - 1 resampled in blocks of geometric length that wrap at the end."""
    starts_new = rng.random(n) < 1.0 / max(mean_block, 1.0)
    starts_new[0] = True
    position = np.flatnonzero(starts_new)
    length = np.diff(np.append(position, n))
    start = rng.integers(n, size=position.size)
    return (np.repeat(start - position, length) + np.arange(n)) % n


def variance_of_averages(
    rates_bps: "NDArray[np.float64]", first: "NDArray[np.int64]", windows: tuple[int, ...]
) -> "NDArray[np.float64]":
    """Variance of averages over each window length, taken inside runs; NaN where none fits.

    Parameters
    ----------
    rates_bps : array, shape (n,)
        One value a second, run after run. [bit/s]
    first : array of int, shape (r + 1,)
        Where each run starts.
    windows : tuple of int
        Lengths. [s]

    Notes
    -----
    All windows, overlapping, about the mean of all values: the same for short and long runs.
    """
    cumulative = np.concatenate(([0.0], np.cumsum(rates_bps - rates_bps.mean())))
    out = np.full(len(windows), np.nan)
    for i, window in enumerate(windows):
        start = np.arange(rates_bps.size - window + 1)
        if start.size == 0:
            continue
        run = np.searchsorted(first, start, side="right")
        start = start[start + window <= first[run]]
        if start.size:
            means = (cumulative[start + window] - cumulative[start]) / window
            out[i] = float(np.mean(np.square(means)))
    return out
