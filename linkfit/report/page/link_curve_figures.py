"""Figures of the link for the report: the distribution of rates, and round trips idle and busy."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.report.figure_style import (
    BAND_ALPHA,
    BLUE,
    ORANGE,
    SKY_BLUE,
    VERMILION,
    in_house_style,
    new_figure,
    put_legend_below,
    thinned,
)
from linkfit.report.page.load_figures import set_time_ticks
from linkfit.report.wording import DIRECTION_WORDS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from linkfit.link.latency import LatencyModel
    from linkfit.report.link_curves import Comparison

_MBIT = 1e6


@in_house_style
def distribution_figure(curve: "Comparison", direction: str) -> "Figure":
    """Share of seconds with at most a rate, as measured and in the model with its band."""
    figure, axes = new_figure(f"Rates of single seconds, {DIRECTION_WORDS[direction]}")
    percent = 100 * curve.x
    low, high = curve.low_values / _MBIT, curve.high_values / _MBIT
    axes.fill_betweenx(percent, low, high, color=SKY_BLUE, alpha=BAND_ALPHA, linewidth=0,
                       label="model, 90 % band")  # fmt: skip
    axes.plot(curve.model_values / _MBIT, percent, color=BLUE, linestyle="--",
              label="model, median")  # fmt: skip
    axes.plot(curve.measured_values / _MBIT, percent, color=VERMILION, marker="o", markersize=3,
              markerfacecolor=ORANGE, linewidth=1.1, markevery=8, label="measured")  # fmt: skip
    axes.set_xlim(left=0)
    axes.set_ylim(0, 101)
    axes.set_xlabel("rate at the IP layer [Mbit/s]")
    axes.set_ylabel("seconds with at most that [%]")
    put_legend_below(figure, n_columns=2)
    return figure


@in_house_style
def latency_figure(latency: "LatencyModel") -> "Figure":
    """Share of round trips with at most a time, while the link is idle and while it is busy."""
    figure, axes = new_figure("Round trips")
    curves = [("idle", latency.idle_rtts_s, BLUE, "-")]
    if latency.loaded_rtts_s is not None:
        curves.append(("busy", latency.loaded_rtts_s, VERMILION, "--"))
    for name, quantiles, colour, line in curves:
        levels = np.linspace(0, 100, quantiles.size)
        x, y = thinned(quantiles, levels)
        axes.plot(x, y, color=colour, linestyle=line, linewidth=1.8, label=f"link {name}")
        middle = float(quantiles[quantiles.size // 2])
        axes.annotate(name, (middle, 50), xytext=(6, -3), textcoords="offset points")
    axes.set_xscale("log")
    axes.minorticks_off()
    set_time_ticks(axes, "x")
    axes.set_ylim(0, 101)
    axes.set_xlabel("round trip")
    axes.set_ylabel("probes with at most that [%]")
    put_legend_below(figure)
    return figure
