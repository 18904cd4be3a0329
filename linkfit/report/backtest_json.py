"""A backtest as a record for --json."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.backtest_groups import grouped
from linkfit.forecast.backtest_scores import NOMINAL_LEVELS, covered_at
from linkfit.report.backtest_text import covered_frac, verdict

if TYPE_CHECKING:
    from linkfit.forecast.backtest_scores import BacktestScore

SCHEMA = "linkfit/backtest/1"


def backtest_record(
    score: "BacktestScore", *, train_frac: float, n_origins: int, seed: int
) -> dict[str, Any]:
    """The record ``linkfit/backtest/1``: one entry a size or class of sizes, then all together."""
    pit = np.concatenate([detail.pit for detail in score.details])
    return {
        "schema": SCHEMA,
        "seed": seed,
        "train_frac": train_frac,
        "n_origins": n_origins,
        "real_transfers": score.real_transfers,
        "verdict": verdict(score),
        "coverage_90_frac": covered_frac(score),
        "sizes": [_size(score, k) for k in range(score.sizes_bytes.size)],
        "groups": [asdict(group) for group in grouped(score.details)],
        "calibration": [
            {"nominal_frac": round(float(level), 2), "covered_frac": float(covered)}
            for level, covered in zip(NOMINAL_LEVELS, covered_at(pit), strict=True)
        ],
    }


def _size(score: "BacktestScore", k: int) -> dict[str, Any]:
    low, high = score.classes_bytes[k].tolist()
    numbers = (
        "coverage_90_frac", "coverage_80_frac", "coverage_50_frac", "crps_s", "crps_ratio",
        "crps_ratio_replay", "crps_ratio_marginal",
    )  # fmt: skip
    return {
        "size_bytes": float(score.sizes_bytes[k]),
        "low_bytes": low,
        "high_bytes": high,
        "n_transfers": int(score.n_transfers[k]),
        **{name: float(getattr(score, name)[k]) for name in numbers},
    }
