"""Figures that show how well a link model fits: rates in time, quantiles, dependence, averages."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.ticker import MaxNLocator

from linkfit.link.model import LinkModel
from linkfit.link.series import MeasuredRuns
from linkfit.report.figure_style import (
    BAND_ALPHA,
    BLACK,
    BLUE,
    ORANGE,
    SKY_BLUE,
    VERMILION,
    in_house_style,
    new_figure,
    put_legend_below,
    save_figure,
    thinned,
)
from linkfit.report.link_curves import (
    Comparison,
    autocorrelation_curve,
    model_rates_bps,
    quantile_curve,
    spread_curve,
)
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MBIT = 1e6


def write_link_figures(link: LinkModel, folder: Path, *, kind: str, seed: int) -> list[Path]:
    """Write every figure of `link` into `folder` as "svg" or "png"; their paths, in order.

    A figure whose curve the record is too short for is left out.
    """
    written = []
    for direction in ("up", "down"):
        model = link.up if direction == "up" else link.down
        if model is None:
            continue
        for name, figure in _direction_figures(link, model.runs, direction, seed):
            written.append(save_figure(figure, folder / f"{direction}-{name}.{kind}"))
    return written


def _direction_figures(
    link: LinkModel, runs: MeasuredRuns, direction: str, seed: int
) -> "list[tuple[str, Figure]]":
    rates_bps = model_rates_bps(link, direction, seed)
    figures = [
        ("time-series", time_series_figure(runs, direction)),
        ("quantiles", quantile_figure(quantile_curve(runs, rates_bps), direction)),
    ]
    dependence = autocorrelation_curve(runs, rates_bps)
    if dependence is not None:
        figures.append(("autocorrelation", autocorrelation_figure(dependence, direction)))
    averages = spread_curve(runs, rates_bps)
    if averages is not None:
        figures.append(("variance-time", spread_figure(averages, direction)))
    return figures


@in_house_style
def time_series_figure(runs: MeasuredRuns, direction: str) -> "Figure":
    """Rates as measured: a line for one run, a dot and a range for each of several."""
    figure, axes = new_figure(f"Measured rate, {DIRECTION_WORDS[direction]}")
    if runs.n_runs == 1:
        seconds, rates_bps = thinned(np.arange(runs.rates_bps.size), runs.rates_bps)
        axes.plot(seconds, rates_bps / _MBIT, color=BLUE, linewidth=0.9)
        axes.set_xlabel("time since the start [s]")
    else:
        _draw_runs(axes, runs)
        put_legend_below(figure)
    axes.set_ylabel("rate at the IP layer [Mbit/s]")
    axes.set_ylim(bottom=0)
    return figure


def _draw_runs(axes: "Axes", runs: MeasuredRuns) -> None:
    parts = np.split(runs.rates_bps, runs.first[1:-1])
    low, middle, high = np.array([np.quantile(part, [0.1, 0.5, 0.9]) for part in parts]).T / _MBIT
    if np.isnan(runs.start_s).any():
        x = np.arange(1.0, runs.n_runs + 1)
        axes.set_xlabel("number of the run")
    else:
        x = runs.start_s / SECONDS_PER_DAY  # matplotlib counts days from 1970 (date.epoch)
        locator = AutoDateLocator(maxticks=7)  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_locator(locator)
        formatter = ConciseDateFormatter(locator)  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_formatter(formatter)
        axes.set_xlabel("date [UTC]")
    shown, _ = thinned(np.arange(float(x.size)), middle, 500)
    index = shown.astype(int)
    axes.vlines(x[index], low[index], high[index], color=SKY_BLUE, linewidth=1.6,
                label="80 % of its seconds")  # fmt: skip
    axes.plot(x[index], middle[index], "o", color=BLUE, markersize=2.8, label="median of a run")


@in_house_style
def quantile_figure(curve: Comparison, direction: str) -> "Figure":
    """Quantile against quantile: on the diagonal the model has the measured rates."""
    figure, axes = new_figure(f"Quantiles, {DIRECTION_WORDS[direction]}")
    x = curve.measured_values / _MBIT
    top = 1.05 * max(float(x.max()), float(curve.model_values.max()) / _MBIT, 1e-9)
    axes.plot([0, top], [0, top], color=BLACK, linewidth=0.9, linestyle="--", label="equal")
    axes.fill_between(x, curve.low_values / _MBIT, curve.high_values / _MBIT, color=SKY_BLUE,
                      alpha=BAND_ALPHA, linewidth=0, label="model, 90 % band")  # fmt: skip
    axes.plot(x, curve.model_values / _MBIT, "o", color=BLUE, markersize=3, label="model, median")
    axes.set_xlim(0, top)
    axes.set_ylim(0, top)
    axes.set_xlabel("measured rate of a second [Mbit/s]")
    axes.set_ylabel("rate in the model [Mbit/s]")
    put_legend_below(figure)
    return figure


@in_house_style
def autocorrelation_figure(curve: Comparison, direction: str) -> "Figure":
    """How long a good or a bad second lasts, measured and in the model."""
    figure, axes = new_figure(f"Dependence in time, {DIRECTION_WORDS[direction]}")
    _draw_comparison(axes, curve)
    axes.axhline(0, color=BLACK, linewidth=0.8)
    axes.xaxis.set_major_locator(MaxNLocator(6, integer=True))
    axes.set_xlabel("seconds apart [s]")
    axes.set_ylabel("correlation of the rates")
    axes.set_ylim(min(-0.2, 1.1 * float(np.nanmin(curve.low_values))), 1)
    put_legend_below(figure)
    return figure


@in_house_style
def spread_figure(curve: Comparison, direction: str) -> "Figure":
    """How much averages over longer and longer stretches still vary."""
    figure, axes = new_figure(f"Spread of averages, {DIRECTION_WORDS[direction]}")
    _draw_comparison(axes, curve)
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.set_xticks(curve.x, [f"{x:g}" for x in curve.x])
    axes.set_ylim(bottom=0)
    axes.set_xlabel("length of the average [s]")
    axes.set_ylabel("standard deviation / mean")
    put_legend_below(figure)
    return figure


def _draw_comparison(axes: "Axes", curve: Comparison) -> None:
    axes.fill_between(curve.x, curve.low_values, curve.high_values, color=SKY_BLUE,
                      alpha=BAND_ALPHA, linewidth=0, label="model, 90 % band")  # fmt: skip
    axes.plot(curve.x, curve.model_values, color=BLUE, linestyle="--", label="model, median")
    axes.plot(curve.x, curve.measured_values, color=VERMILION, marker="o", markersize=3.5,
              linewidth=1.1, markerfacecolor=ORANGE, label="measured")  # fmt: skip
