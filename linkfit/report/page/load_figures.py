"""Figures of what is asked of the link: payloads, users, the data of a cycle, backlogs."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from linkfit.report.figure_layout import StackedLayout
from linkfit.report.figure_style import (
    BAND_ALPHA,
    BLACK,
    BLUE,
    LETTERS_PT,
    ORANGE,
    SKY_BLUE,
    VERMILION,
    WIDTH_IN,
    in_house_style,
    new_figure,
    put_legend_below,
)
from linkfit.report.plain import harmless
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_duration, format_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from linkfit.forecast.burn_down import BurnDown
    from linkfit.forecast.data_fan import DataFan
    from linkfit.forecast.draws import Forecast
    from linkfit.report.page.material import UserLine

_TIME_TICKS_S = (
    0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0,
    2 * 3600.0, 6 * 3600.0, 86400.0, 2 * 86400.0, 864000.0,
)  # fmt: skip
_TWO_DIGITS_S = (86400.0,)  # is said as 24 h
_MOST_TICKS = 6
_SIZE_TICKS_BYTES = (1e4, 1e5, 1e6, 1e7, 1e8, 1e9)
_LOOKS = {
    "up": {"color": BLUE, "marker": "o", "linestyle": "-", "fill": SKY_BLUE},
    "down": {"color": VERMILION, "marker": "s", "linestyle": "--", "fill": ORANGE},
}
_LEVELS = (0.05, 0.5, 0.95)


def plain_label(text: str, limit: int = 34) -> str:
    """`text` harmless, short, and with no sign that is read as mathematics."""
    return harmless(text, limit=limit).replace("$", r"\$")


@in_house_style
def payload_figure(payloads: "dict[str, tuple[tuple[float, Forecast], ...]]") -> Figure:
    """Time of one payload against its size: median and 5 % to 95 % of moments, each direction."""
    figure, axes = new_figure("Time to move one payload, link free")
    for way, points in payloads.items():
        look = _LOOKS[way]
        sizes = np.array([size for size, _ in points])
        low, middle, high = np.array([time.quantile(_LEVELS) for _, time in points]).T
        axes.fill_between(sizes, low, _finite(high, middle), color=look["fill"], alpha=0.25,
                          linewidth=0)  # fmt: skip
        for edge in (low, _finite(high, middle)):  # two bands that overlap are seen by their edges
            axes.plot(sizes, edge, color=look["color"], linestyle=look["linestyle"], linewidth=0.6)
        axes.plot(sizes, middle, color=look["color"], linestyle=look["linestyle"],
                  marker=look["marker"], markersize=4, label=DIRECTION_WORDS[way])  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.minorticks_off()
    axes.set_xticks(_SIZE_TICKS_BYTES, [format_size(size, 1) for size in _SIZE_TICKS_BYTES])
    set_time_ticks(axes, "y")
    axes.set_xlabel("payload [bytes, decimal prefixes]")
    axes.set_ylabel("time: median, 5 % to 95 %")
    put_legend_below(figure, n_columns=1)
    return figure


def _finite(high: "np.ndarray[tuple[int], np.dtype[np.float64]]",
            middle: "np.ndarray[tuple[int], np.dtype[np.float64]]",
            ) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":  # fmt: skip
    """Never ends is drawn as far above the median."""
    return np.where(np.isfinite(high), high, np.where(np.isfinite(middle), middle, 1.0) * 100)


def set_time_ticks(axes: "Axes", which: str) -> None:
    """Ticks at times a person knows, at most six, on a logarithmic axis "x" or "y"."""
    low, high = axes.get_xlim() if which == "x" else axes.get_ylim()
    ticks = [tick for tick in _TIME_TICKS_S if low <= tick <= high]
    step = -(-len(ticks) // _MOST_TICKS)
    if len(ticks) >= 2:
        place = axes.set_xticks if which == "x" else axes.set_yticks
        place(ticks[::step], [_tick_text(tick) for tick in ticks[::step]])


def _tick_text(time_s: float) -> str:
    return format_duration(time_s, 2 if time_s in _TWO_DIGITS_S else 1)


@in_house_style
def users_figure(lines: "Sequence[UserLine]") -> Figure:
    """For each service the 95th percentile of its tightest task against the number of users."""
    size_in = (WIDTH_IN, 0.8 + 1.9 * len(lines))
    figure = Figure(figsize=size_in, layout=StackedLayout())
    found = figure.subplots(len(lines), 1, squeeze=False)[:, 0]
    for axes, line in zip(found, lines, strict=True):
        _draw_users(axes, line)
    found[-1].set_xlabel("users of the service")
    figure.legend(*found[0].get_legend_handles_labels(), loc="outside lower center", ncols=2)
    return figure


def _draw_users(axes: "Axes", line: "UserLine") -> None:
    numbers = [n for n, _ in line.points]
    late = np.array([float(time.quantile(0.95)) for _, time in line.points])
    ends = np.array([time.quantile_interval(0.95) for _, time in line.points])
    axes.fill_between(numbers, ends[:, 0], _finite(ends[:, 1], late), color=SKY_BLUE,
                      alpha=BAND_ALPHA, linewidth=0, label="90 % interval of it")  # fmt: skip
    axes.plot(numbers, late, color=BLUE, marker="o", markersize=4, label="95th percentile")
    target_s = line.task.target_s or 0.0
    axes.axhline(target_s, color=BLACK, linestyle="--", linewidth=1.4, label="target")
    axes.axvline(max(line.service.n_users, 1), color=VERMILION, linestyle=":", linewidth=1.6,
                 label="users now")  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.minorticks_off()
    axes.set_xticks([1, 2, 5, 10, 20, 50, 100], ["1", "2", "5", "10", "20", "50", "100"])
    values = [*late[np.isfinite(late)], target_s]
    low, high = min(values) / 2, max(values) * 2
    axes.set_ylim(low, high)
    set_time_ticks(axes, "y")
    axes.set_title(plain_label(f"{line.service.name}: {line.task.name}", 90), fontsize=LETTERS_PT)
    axes.set_ylabel("time that 19 of 20 stay within")


@in_house_style
def fan_figure(fan: "DataFan") -> Figure:
    """Data wanted by the end of each day: median, half and nine tenths of cycles, and the cap."""
    figure, axes = new_figure("Data of a billing cycle, day by day")
    days = np.array([0.0, *fan.day_ends_days])
    levels = (0.05, 0.25, 0.5, 0.75, 0.95)
    found = np.array([[0.0] * len(levels), *(used.quantile(levels) for used in fan.used)]).T / 1e9
    # so pale that the median stands out from both together
    axes.fill_between(days, found[0], found[4], color=SKY_BLUE, alpha=BAND_ALPHA, linewidth=0,
                      label="9 of 10 cycles")  # fmt: skip
    axes.fill_between(days, found[1], found[3], color=SKY_BLUE, alpha=0.45, linewidth=0,
                      label="half of the cycles")  # fmt: skip
    axes.plot(days, found[2], color=BLUE, linewidth=1.8, label="median")
    if fan.cap_bytes is not None:
        axes.axhline(fan.cap_bytes / 1e9, color=BLACK, linestyle="--", linewidth=1.6,
                     label="cap of the plan")  # fmt: skip
    axes.set_xlim(0, days[-1])
    axes.set_ylim(bottom=0)
    axes.set_xlabel("day of the billing cycle [days]")
    axes.set_ylabel("wanted so far, as counted [GB]")
    put_legend_below(figure, n_columns=2)
    return figure


@in_house_style
def burn_down_figure(burn: "BurnDown") -> Figure:
    """What is left of a backlog as days pass: median and 5 % to 95 % of futures."""
    figure, axes = new_figure(f"Left of {plain_label(burn.backlog.name)}")
    left = np.concatenate([[100.0], 100 * burn.left_frac()])
    quantiles = np.array([[0.0] * 3, *(days.quantile(_LEVELS) for days in burn.days)]).T
    ends = quantiles[np.isfinite(quantiles)]
    last = max(float(ends.max()), 1e-3) * 1.05
    unit, divisor = ("h", 1 / 24) if last < 3 else ("days", 1.0)
    low, middle, high = np.minimum(quantiles, 10 * last) / divisor
    axes.fill_betweenx(left, low, high, color=SKY_BLUE, alpha=BAND_ALPHA, linewidth=0,
                       label="9 of 10 futures")  # fmt: skip
    axes.plot(middle, left, color=BLUE, marker="o", markersize=4, label="median")
    axes.set_xlim(0, last / divisor)
    axes.set_ylim(0, 101)
    axes.xaxis.set_major_locator(MaxNLocator(7))
    axes.set_xlabel(f"time from the start [{unit}]")
    axes.set_ylabel("left [% of the heap]")
    put_legend_below(figure, n_columns=2)
    return figure
