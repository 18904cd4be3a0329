"""Figures of a backtest: nominal against covered, where transfers fell, scores by size."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.backtest_scores import (
    BASELINES,
    NOMINAL_LEVELS,
    BacktestScore,
    covered_at,
)
from linkfit.report.backtest_text import size_names
from linkfit.report.figure_style import (
    BLACK,
    BLUE,
    GREEN,
    ORANGE,
    PURPLE,
    SKY_BLUE,
    VERMILION,
    in_house_style,
    new_figure,
    put_legend_below,
    save_figure,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

_LINES = (
    (BLUE, "-", "o"), (VERMILION, "--", "s"), (GREEN, "-.", "^"), (PURPLE, ":", "D"),
    (ORANGE, (0, (5, 1)), "v"), (BLACK, (0, (1, 1)), "x"),
)  # fmt: skip
_BARS = (("model", BLUE, ""), (BASELINES[1], ORANGE, "//"), (BASELINES[2], SKY_BLUE, ".."))
_N_BINS = 10


def write_backtest_figures(score: BacktestScore, folder: Path, *, kind: str) -> list[Path]:
    """Write every figure of `score` into `folder` as "svg" or "png"; their paths, in order."""
    figures = (
        ("calibration", calibration_figure(score)),
        ("where-transfers-fell", pit_figure(score)),
        ("score-by-size", score_figure(score)),
    )
    return [save_figure(figure, folder / f"backtest-{name}.{kind}") for name, figure in figures]


@in_house_style
def calibration_figure(score: BacktestScore) -> "Figure":
    """What intervals promise against what they held; on the diagonal both are equal."""
    figure, axes = new_figure("Do the intervals hold what they promise?")
    axes.plot([0, 100], [0, 100], color=BLACK, linewidth=0.9, linestyle="--", label="equal")
    for k, name in enumerate(size_names(score)):
        pit = np.concatenate([d.pit for d in score.details if _is_of(d.size_bytes, score, k)])
        color, line, marker = _LINES[k % len(_LINES)]
        axes.plot(
            100 * NOMINAL_LEVELS, 100 * covered_at(pit), color=color, linestyle=line, marker=marker,
            markersize=3.5, markevery=2, linewidth=1.2, label=name,
        )  # fmt: skip
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 100)
    axes.set_xlabel("interval as promised [%]")
    axes.set_ylabel("transfers inside it [%]")
    put_legend_below(figure, n_columns=2)
    return figure


@in_house_style
def pit_figure(score: BacktestScore) -> "Figure":
    """Where each transfer fell among the draws of its forecast: even bars are right."""
    figure, axes = new_figure("Where transfers fell in their forecasts")
    pit = np.concatenate([detail.pit for detail in score.details])
    counts, edges = np.histogram(pit, bins=_N_BINS, range=(0.0, 1.0))
    axes.bar(
        100 * edges[:-1], 100 * counts / pit.size, width=100 / _N_BINS, align="edge",
        color=SKY_BLUE, edgecolor=BLUE, hatch="//", linewidth=0.8, label="transfers",
    )  # fmt: skip
    axes.axhline(100 / _N_BINS, color=BLACK, linestyle="--", linewidth=1.0, label="even: right")
    axes.set_xlim(0, 100)
    axes.set_xlabel("draws of the forecast that were faster [%]")
    axes.set_ylabel("transfers [%]")
    put_legend_below(figure)
    return figure


@in_house_style
def score_figure(score: BacktestScore) -> "Figure":
    """Scores of the model and of two simple forecasts over that of size / mean rate."""
    figure, axes = new_figure("Score by size, lower is better")
    x = np.arange(score.sizes_bytes.size, dtype=np.float64)
    naive = _mean_scores(score, BASELINES[0])
    width = 0.8 / len(_BARS)
    for place, (name, color, hatch) in enumerate(_BARS):
        means = score.crps_s if name == "model" else _mean_scores(score, name)
        ratio = np.divide(means, naive, out=np.ones_like(means), where=naive > 0)
        axes.bar(x + (place - 1) * width, ratio, width=0.92 * width, color=color, hatch=hatch,
                 edgecolor=BLACK, linewidth=0.6, label=name)  # fmt: skip
    axes.axhline(1.0, color=BLACK, linestyle="--", linewidth=1.0, label=BASELINES[0])
    axes.set_xticks(x, [name.replace(" to ", "\nto ") for name in size_names(score)])
    axes.set_xlabel("payload")
    axes.set_ylabel("relative score (dashed: 1)")
    put_legend_below(figure, n_columns=2)
    return figure


def _mean_scores(score: BacktestScore, name: str) -> "NDArray[np.float64]":
    """Mean score of a simple forecast at each size, shape (k,). [s]"""
    return np.array([
        np.concatenate([
            d.baseline_crps_s[name] for d in score.details if _is_of(d.size_bytes, score, k)
        ]).mean()
        for k in range(score.sizes_bytes.size)
    ])  # fmt: skip


def _is_of(size_bytes: float, score: BacktestScore, k: int) -> bool:
    return size_bytes == float(score.sizes_bytes[k])
