"""What a backtest says: scores of each predicted transfer, and of all of them by size."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import FitError
from linkfit.forecast.scores import crps
from linkfit.units import format_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

BASELINES = ("size over mean rate", "independent rates", "plain replay")
COVERED_LEVELS = (0.5, 0.8, 0.9)
NOMINAL_LEVELS = np.linspace(0.05, 0.95, 19)
_SECONDS_APART = 1e-9  # a forecast without spread still covers what it names exactly


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeScores:
    """Predicted transfers of one size (or class of sizes) over one direction; arrays (n,).

    Parameters
    ----------
    size_bytes : float
        Of all, or the median of the class. [bytes]
    start_s : array, shape (n,)
        When each began, on the clock of the rest or of the trace, in order. [s]
    observed_s : array, shape (n,)
        How long each took. [s]
    pit : array, shape (n,)
        Share of the forecast's draws below what came (probability integral transform).
    crps_s : array, shape (n,)
        Score of the model's forecast. [s]
    baseline_crps_s : mapping of str to array, shape (n,)
        Scores of `BASELINES`. [s]
    covered : array, shape (n, 3)
        Was it inside the central interval of each of `COVERED_LEVELS`?
    width_s : float
        Mean width of the 90 % interval. [s]
    wild : array of bool, shape (n,), or None
        Did each begin in a minute that varied more than usual? None for real transfers.
    hour : array, shape (n,), or None
        UTC hour at which each began; NaN where no clock tells. [h]
    """

    size_bytes: float
    direction: str
    start_s: "NDArray[np.float64]"
    observed_s: "NDArray[np.float64]"
    pit: "NDArray[np.float64]"
    crps_s: "NDArray[np.float64]"
    baseline_crps_s: "Mapping[str, NDArray[np.float64]]"
    covered: "NDArray[np.bool_]"
    width_s: float
    wild: "NDArray[np.bool_] | None" = None
    hour: "NDArray[np.float64] | None" = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BacktestScore:
    """Scores of a backtest, one entry a size in `sizes_bytes`; arrays have shape (k,).

    Parameters
    ----------
    sizes_bytes : array, shape (k,)
        Payloads; for real transfers the median of each class. [bytes]
    classes_bytes : array, shape (k, 2)
        Smallest and largest size of each class; twice the size where all are alike. [bytes]
    real_transfers : bool
        True: measured transfers were predicted; False: ones over measured capacity.
    coverage_90_frac, coverage_80_frac, coverage_50_frac : array, shape (k,)
        Share of transfers inside the interval of that name. [fraction]
    crps_s : array, shape (k,)
        Mean continuous ranked probability score. [s]
    crps_ratio : array, shape (k,)
        The same over that of size / mean rate; below 1 the model says more.
    crps_ratio_replay, crps_ratio_marginal : array, shape (k,)
        Over those of a plain replay and of independent draws of the measured rates.
    details : tuple of SizeScores
        Everything behind, by size and direction.
    """

    sizes_bytes: "NDArray[np.float64]"
    classes_bytes: "NDArray[np.float64]"
    real_transfers: bool
    n_transfers: "NDArray[np.int64]"
    coverage_90_frac: "NDArray[np.float64]"
    coverage_80_frac: "NDArray[np.float64]"
    coverage_50_frac: "NDArray[np.float64]"
    crps_s: "NDArray[np.float64]"
    crps_ratio: "NDArray[np.float64]"
    crps_ratio_replay: "NDArray[np.float64]"
    crps_ratio_marginal: "NDArray[np.float64]"
    details: tuple[SizeScores, ...]


def compared(
    size_bytes: float,
    direction: str,
    start_s: "NDArray[np.float64]",
    observed_s: "NDArray[np.float64]",
    draws_s: "NDArray[np.float64]",
    baselines_s: "Mapping[str, NDArray[np.float64]]",
) -> SizeScores:
    """The forecast's draws and the simple ones against what came, started at `start_s`.

    Draws have shape (d,), one forecast for all, or (n, d), one each.

    Raises
    ------
    FitError
        If some draws never end: such a forecast has no finite score.
    """
    if not np.isfinite(draws_s).all():
        raise FitError(
            f"{size_bytes:g} bytes: expected a forecast that ends, got one that never does in "
            f"{format_share(float(np.isinf(draws_s).mean()))} of the draws; the past holds too "
            "many outages"
        )
    tails = [((1 - level) / 2, (1 + level) / 2) for level in COVERED_LEVELS]
    # shape (levels, 2) or (levels, 2, n)
    bounds = np.array([np.quantile(draws_s, tail, axis=-1) for tail in tails])
    low, high = bounds[:, 0], bounds[:, 1]
    if draws_s.ndim == 1:
        low, high = low[:, None], high[:, None]
        below = np.searchsorted(np.sort(draws_s), observed_s) / draws_s.size
    else:
        below = (draws_s < observed_s[:, None]).mean(axis=1)
    slack_s = _SECONDS_APART * observed_s
    return SizeScores(
        size_bytes=size_bytes,
        direction=direction,
        start_s=start_s,
        observed_s=observed_s,
        pit=below,
        crps_s=crps(draws_s, observed_s),
        baseline_crps_s={name: crps(some, observed_s) for name, some in baselines_s.items()},
        covered=((observed_s >= low - slack_s) & (observed_s <= high + slack_s)).T,
        width_s=float(np.mean(high[-1] - low[-1])),
    )


def covered_at(pit: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Share of transfers in the central interval of each of `NOMINAL_LEVELS`. [fraction]"""
    apart = 2.0 * np.abs(pit - 0.5)
    return (apart[:, None] <= NOMINAL_LEVELS).mean(axis=0)


def joined(parts: Sequence[SizeScores], size_bytes: float) -> SizeScores:
    """Scores of one size and direction from several."""
    n = np.array([part.observed_s.size for part in parts])
    return SizeScores(
        size_bytes=size_bytes,
        direction=parts[0].direction,
        start_s=np.concatenate([part.start_s for part in parts]),
        observed_s=np.concatenate([part.observed_s for part in parts]),
        pit=np.concatenate([part.pit for part in parts]),
        crps_s=np.concatenate([part.crps_s for part in parts]),
        baseline_crps_s={
            name: np.concatenate([part.baseline_crps_s[name] for part in parts])
            for name in BASELINES
        },
        covered=np.concatenate([part.covered for part in parts]),
        width_s=float(np.average([part.width_s for part in parts], weights=n)),
    )


def summarised(
    groups: Sequence[Sequence[SizeScores]],
    classes_bytes: "NDArray[np.float64]",
    *,
    real_transfers: bool,
) -> BacktestScore:
    """Scores pooled over the directions and origins of each group: one group a size."""
    rows = []
    for mine in groups:
        score = np.concatenate([d.crps_s for d in mine])
        base = {n: np.concatenate([d.baseline_crps_s[n] for d in mine]).mean() for n in BASELINES}
        covered = np.concatenate([d.covered for d in mine]).mean(axis=0)
        ratios = [score.mean() / base[name] if base[name] > 0 else 1.0 for name in BASELINES]
        rows.append((mine[0].size_bytes, score.size, *covered, score.mean(), *ratios))
    table = np.array(rows, dtype=float).T
    return BacktestScore(
        sizes_bytes=table[0],
        classes_bytes=classes_bytes,
        real_transfers=real_transfers,
        n_transfers=table[1].astype(np.int64),
        coverage_50_frac=table[2],
        coverage_80_frac=table[3],
        coverage_90_frac=table[4],
        crps_s=table[5],
        crps_ratio=table[6],
        crps_ratio_marginal=table[7],
        crps_ratio_replay=table[8],
        details=tuple(detail for mine in groups for detail in mine),
    )
