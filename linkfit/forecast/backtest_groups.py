"""Scores of a backtest by the kind of minute and the part of the day in which transfers began."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.backtest_scores import BASELINES, COVERED_LEVELS, SizeScores
from linkfit.link.series import MeasuredRuns
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

STRETCH_S = 60
_PARTS_OF_DAY = ((0, 6), (6, 12), (12, 18), (18, 24))
_LEAST_TRANSFERS = 20  # fewer say nothing of a share near 90 %


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupScore:
    """Transfers that began alike: how many, share inside the 90 % interval, score over naive."""

    name: str
    n_transfers: int
    coverage_90_frac: float
    crps_ratio: float


def is_wild(
    past_bps: "NDArray[np.float64]",
    future_bps: "NDArray[np.float64]",
    starts_s: "NDArray[np.float64]",
) -> "NDArray[np.bool_]":
    """Does the minute from each start vary more than half of the past's minutes did? Shape (n,).

    Parameters
    ----------
    past_bps, future_bps : array, shape (m,)
        Rates second by second; the future loops. [bit/s]
    starts_s : array, shape (n,)
        Seconds since the future began. [s]

    Notes
    -----
    Variation is the coefficient of variation over the minute; a minute without any capacity is
    wild. A past shorter than a minute is one stretch.
    """
    n_whole = max(past_bps.size // STRETCH_S, 1)
    length = min(STRETCH_S, past_bps.size)
    usual = np.median(_variation(past_bps[: n_whole * length].reshape(n_whole, length)))
    seconds = np.floor(starts_s).astype(np.int64)[:, None] + np.arange(length)
    return _variation(future_bps[seconds % future_bps.size]) > usual


def _variation(rates_bps: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Coefficient of variation of each row."""
    mean = rates_bps.mean(axis=1)
    spread = rates_bps.std(axis=1)
    return np.where(mean > 0, spread / np.where(mean > 0, mean, 1.0), np.inf)


def hours_of_day(future: MeasuredRuns, starts_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """UTC hour at which each transfer began, shape (n,); NaN where the run has no clock. [h]"""
    second = np.minimum(starts_s.astype(np.int64), future.rates_bps.size - 1)
    run = np.searchsorted(future.first, second, side="right") - 1
    clock_s = future.start_s[run] + (second - future.first[run])
    return clock_s % SECONDS_PER_DAY / SECONDS_PER_HOUR


def grouped(details: Sequence[SizeScores]) -> tuple[GroupScore, ...]:
    """Scores by calm and wild minutes, and by quarters of the day where times are known.

    Groups with fewer than 20 transfers are left out. The ratio is of sums, so that large
    transfers count by their seconds.
    """
    known = [detail for detail in details if detail.wild is not None]
    if not known:
        return ()
    wild = np.concatenate([detail.wild for detail in known if detail.wild is not None])
    hour = np.concatenate(
        [
            np.full(detail.crps_s.size, np.nan) if detail.hour is None else detail.hour
            for detail in known
        ]
    )
    covered = np.concatenate([detail.covered[:, COVERED_LEVELS.index(0.9)] for detail in known])
    score = np.concatenate([detail.crps_s for detail in known])
    naive = np.concatenate([detail.baseline_crps_s[BASELINES[0]] for detail in known])
    masks = [("calm minutes", ~wild), ("wild minutes", wild)]
    masks += [
        (f"{low} to {high} h UTC", (hour >= low) & (hour < high)) for low, high in _PARTS_OF_DAY
    ]
    return tuple(
        GroupScore(
            name=name,
            n_transfers=int(mask.sum()),
            coverage_90_frac=float(covered[mask].mean()),
            crps_ratio=float(score[mask].sum() / naive[mask].sum()) if naive[mask].sum() else 1.0,
        )
        for name, mask in masks
        if mask.sum() >= _LEAST_TRANSFERS
    )
