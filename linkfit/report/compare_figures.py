"""Figures of links side by side: their seconds each way, and the time of each task on each."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from linkfit.report.figure_style import (
    BLACK,
    BLUE,
    GREEN,
    ORANGE,
    PURPLE,
    SKY_BLUE,
    VERMILION,
    in_house_style,
    name_rows,
    new_figure,
    put_legend_below,
    save_figure,
)
from linkfit.report.plain import harmless
from linkfit.report.wording import DIRECTION_WORDS, QUANTILES
from linkfit.units import format_duration, format_rate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from linkfit.advice.compared_links import LinkComparison
    from linkfit.forecast.outcomes import Evaluation, TaskForecast
    from linkfit.forecast.rate_differences import RatePercentiles

    Evaluated = Sequence[tuple[str, Evaluation | None]]

# colour, marker and line differ, and each line bears its name: none is needed alone
_LOOKS = (
    (VERMILION, "s", "-"), (BLUE, "o", "--"), (GREEN, "^", "-."), (ORANGE, "D", ":"),
    (PURPLE, "v", "-"), (SKY_BLUE, "P", "--"), (BLACK, "X", "-."), (VERMILION, "*", ":"),
)  # fmt: skip
_LONGEST_LABEL = 30
_MOST_ROWS = 30
_NAME_PT, _LINK_PT = 14.0, 10.0  # of a row: its name, each link
_RATE_TICKS_BPS = tuple(mantissa * 10.0**power for power in range(2, 11) for mantissa in (1, 3))
_TIME_TICKS_S = (0.01, 0.1, 1.0, 10.0, 60.0, 600.0, 6 * 3600.0, 86400.0, 864000.0)
_MOST_TICKS = 6


def write_compare_figures(found: "LinkComparison", folder: Path, *, kind: str) -> list[Path]:
    """Write every figure into `folder` as "svg" or "png"; their paths, in order."""
    figures = []
    for direction in DIRECTION_WORDS:
        links = [(one.name, dict(one.rates)[direction]) for one in found.standings
                 if direction in dict(one.rates)]  # fmt: skip
        if len(links) >= 2:
            figures.append((f"rates-{direction}", rates_figure(links, direction)))
    evaluated = [(one.name, one.evaluation) for one in found.standings]
    if task_rows(evaluated):
        figures.append(("task-times", times_figure(evaluated)))
    return [save_figure(figure, folder / f"{name}.{kind}") for name, figure in figures]


@in_house_style
def rates_figure(links: "list[tuple[str, RatePercentiles]]", direction: str) -> "Figure":
    """5 % to 95 % of each link's seconds with the median and its interval."""
    figure, axes = new_figure(f"Rates, {DIRECTION_WORDS[direction]}", n_rows=len(links))
    for row, (name, rates) in enumerate(links):
        colour, marker, line = _look(row)
        low_bps, middle_bps, high_bps = np.maximum(rates.rates_bps[:3], 1.0)
        ends_bps = np.maximum(rates.interval_bps()[:, 1], 1.0)
        axes.plot([low_bps, high_bps], [row, row], color=colour, linestyle=line, linewidth=1.8)
        axes.plot(ends_bps, [row, row], color=colour, linewidth=6, alpha=0.35,
                  solid_capstyle="butt")  # fmt: skip
        axes.plot([middle_bps], [row], color=colour, marker=marker, markersize=6)
        axes.annotate(f"{_cut(name)}: {format_rate(middle_bps)}", (middle_bps, row - 0.22),
                      ha="center", va="bottom", color=BLACK)  # fmt: skip
    axes.set_yticks([])
    axes.set_ylim(len(links) - 0.5, -0.75)
    axes.set_xscale("log")
    axes.minorticks_off()
    axes.margins(x=0.16)
    _ticks(axes, _RATE_TICKS_BPS, lambda rate_bps: format_rate(rate_bps, 1))
    axes.set_xlabel(
        "rate of a second at the IP layer; line: 5 % to 95 %\n"
        "of seconds, mark: median, band: its 90 % interval,\ndrift between days included"
    )
    return figure


def task_rows(evaluated: "Evaluated") -> "list[tuple[str, list[TaskForecast | None]]]":
    """Each task with a target, by its name, with its forecast on every link; at most 30."""
    tables = [_tasks(evaluation) for _, evaluation in evaluated]
    keys = list(tables[0]) if tables else []
    return [(f"{service}: {task}", [table.get((service, task)) for table in tables])
            for service, task in keys[:_MOST_ROWS]]  # fmt: skip


def _tasks(evaluation: "Evaluation | None") -> "dict[tuple[str, str], TaskForecast]":
    """Tasks that can be judged on this link."""
    services = () if evaluation is None else evaluation.services
    return {
        (_cut(task.service), _cut(task.task.name)): task
        for service in services
        for task in service.tasks
        if task.task.target_s is not None and not (task.refused or task.unmeasured)
    }


@in_house_style
def times_figure(evaluated: "Evaluated") -> "Figure":
    """5 % to 95 % of each task's times on every named link, with its target."""
    rows = task_rows(evaluated)
    n_links = len(evaluated)
    figure, axes = new_figure("Time of each task at the busy hour", n_rows=len(rows),
                              row_pt=_NAME_PT + _LINK_PT * n_links)  # fmt: skip
    name_frac = _NAME_PT / (_NAME_PT + _LINK_PT * n_links)
    for row, (_, forecasts) in enumerate(rows):
        first, last = row - 0.5 + name_frac, row + 0.45
        for index, forecast in enumerate(forecasts):
            if forecast is not None:
                _draw_times(axes, first + (last - first) * (index + 0.5) / n_links, forecast, index)
        targets_s = [one.task.target_s for one in forecasts if one is not None]
        axes.vlines(targets_s[0] or 0.0, first, last, color=BLACK, linewidth=2)
    name_rows(axes, [name for name, _ in rows])
    axes.set_xscale("log")
    axes.minorticks_off()
    _ticks(axes, _TIME_TICKS_S, lambda time_s: format_duration(time_s, 1))
    axes.set_xlabel("time, 5 % to 95 % of cases and median")
    for index, (name, _) in enumerate(evaluated):
        colour, marker, line = _look(index)
        axes.plot([], [], color=colour, linestyle=line, marker=marker, label=_cut(name))
    axes.plot([], [], color=BLACK, linewidth=2, label="target for the 95 % end")
    put_legend_below(figure)
    return figure


def _draw_times(axes: "Axes", y: float, forecast: "TaskForecast", index: int) -> None:
    colour, marker, line = _look(index)
    low_s, middle_s, high_s = (float(q) for q in forecast.time.quantile(QUANTILES))
    if not np.isfinite(middle_s):
        axes.annotate("never", (0.99, y), xycoords=("axes fraction", "data"), ha="right",
                      va="center", color=colour)  # fmt: skip
        return
    high_s = high_s if np.isfinite(high_s) else middle_s * 100
    axes.plot([low_s, high_s], [y, y], color=colour, linestyle=line, linewidth=1.8)
    axes.plot([middle_s], [y], color=colour, marker=marker, markersize=4.5)


def _ticks(axes: "Axes", places: tuple[float, ...], words: Callable[[float], str]) -> None:
    """Marks at round values with their unit, few enough to stand apart on a phone."""
    low, high = axes.get_xlim()
    ticks = [tick for tick in places if low <= tick <= high]
    ticks = ticks[:: -(-len(ticks) // _MOST_TICKS)] if ticks else []
    if len(ticks) >= 2:
        axes.set_xticks(ticks, [words(tick) for tick in ticks])


def _look(index: int) -> tuple[str, str, str]:
    return _LOOKS[index % len(_LOOKS)]


def _cut(text: str) -> str:
    """`text` harmless, short, and with no sign that matplotlib would read as mathematics."""
    return harmless(text, limit=_LONGEST_LABEL).replace("$", r"\$")
