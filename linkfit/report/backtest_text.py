"""A backtest for a person: how often the intervals held, and against what they are worth it."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.backtest_groups import grouped
from linkfit.forecast.backtest_scores import BASELINES
from linkfit.report.listing import Column, Listing, apart, heading, sentence
from linkfit.units import format_count, format_duration, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.backtest_scores import BacktestScore

# 90 % intervals that cover less or more than this are called too narrow or too wide
ROUGHLY_90_FRAC = (0.86, 0.95)


def backtest_text(score: "BacktestScore") -> "list[RenderableType]":
    """Everything that is said of a backtest."""
    kind = "Measured transfers" if score.real_transfers else "Transfers over the measured rates"
    return apart([
        [heading(f"{kind}, predicted from what was measured before"), sentence(verdict(score))],
        [heading("How often the interval held what came"), _coverage(score)],
        [
            heading("How far off, against three simple forecasts"),
            _scores(score),
            sentence(
                "The score counts distance and width (continuous ranked probability score, lower "
                "is better). Below 1 the model says more than the simple forecast."
            ),
        ],
        _groups(score),
    ])  # fmt: skip


def covered_frac(score: "BacktestScore") -> float:
    """Share of all transfers inside their 90 % interval. [fraction]"""
    return float(np.average(score.coverage_90_frac, weights=score.n_transfers))


def verdict(score: "BacktestScore") -> str:
    """What the backtest says of the forecasts, in a sentence or two."""
    covered, n = covered_frac(score), int(score.n_transfers.sum())
    low, high = ROUGHLY_90_FRAC
    if covered < low:
        trust = (
            "they are too narrow here: the later part differs from the earlier by more than the "
            "measurements let expect"
        )
    elif covered > high:
        trust = "they are wider than they need be here"
    else:
        trust = "about what they promise"
    return f"90 % intervals held {100 * covered:.0f} % of {format_count(n, 'transfer')}: {trust}."


def size_names(score: "BacktestScore") -> list[str]:
    """Each size, or the range of sizes of a class."""
    return [
        format_size(high) if format_size(low) == format_size(high)
        else f"{format_size(low)} to {format_size(high)}"
        for low, high in score.classes_bytes.tolist()
    ]  # fmt: skip


def _groups(score: "BacktestScore") -> "list[RenderableType]":
    groups = grouped(score.details)
    if not groups:
        return []
    listing = _listing(("when it began", "transfers", "90 % interval", f"/ {BASELINES[0]}"))
    for group in groups:
        listing.add(
            group.name, f"{group.n_transfers}", f"{100 * group.coverage_90_frac:.0f} %",
            f"{group.crps_ratio:.2f}",
        )  # fmt: skip
    return [heading("The same by kind of minute and part of the day"), listing]


def _coverage(score: "BacktestScore") -> Listing:
    columns = ("size", "transfers", "90 % interval", "80 %", "50 %")
    listing = _listing(columns)
    shares = (score.coverage_90_frac, score.coverage_80_frac, score.coverage_50_frac)
    for k, name in enumerate(size_names(score)):
        texts = (f"{100 * share[k]:.0f} %" for share in shares)
        listing.add(name, f"{score.n_transfers[k]}", *texts)
    return listing


def _scores(score: "BacktestScore") -> Listing:
    listing = _listing(("size", "score", *(f"/ {name}" for name in BASELINES)))
    ratios = (score.crps_ratio, score.crps_ratio_marginal, score.crps_ratio_replay)
    for k, name in enumerate(size_names(score)):
        listing.add(
            name, format_duration(float(score.crps_s[k])), *(f"{ratio[k]:.2f}" for ratio in ratios)
        )
    return listing


def _listing(headings: tuple[str, ...]) -> Listing:
    first, *others = headings
    return Listing(
        columns=(Column(heading=first), *(Column(heading=name, right=True) for name in others))
    )
