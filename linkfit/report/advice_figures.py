"""Figures of an evaluation before and after the changes: task times, data use, backlogs."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.outcomes import (
    BacklogForecast,
    DataForecast,
    Evaluation,
    ServiceForecast,
    TaskForecast,
)
from linkfit.report.figure_style import (
    BLACK,
    BLUE,
    VERMILION,
    in_house_style,
    name_rows,
    new_figure,
    put_legend_below,
    save_figure,
    thinned,
)
from linkfit.report.plain import harmless
from linkfit.report.wording import QUANTILES
from linkfit.units import format_duration

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from linkfit.forecast.draws import Forecast

# before and after differ by colour, by marker and by line, so that none is needed alone
_BEFORE = {"color": VERMILION, "marker": "s", "linestyle": "--", "label": "as it is"}
_AFTER = {"color": BLUE, "marker": "o", "linestyle": "-", "label": "with the changes"}
_N_CAUSES = 10
_LONGEST_LABEL = 34
_TIME_TICKS_S = (0.01, 0.1, 1.0, 10.0, 60.0, 600.0, 6 * 3600.0, 86400.0, 864000.0)


def write_advice_figures(
    before: Evaluation, after: Evaluation, folder: Path, *, kind: str
) -> list[Path]:
    """Write every figure into `folder` as "svg" or "png"; their paths, in order."""
    figures = [("data-use", data_figure(before.data, after.data)),
               ("data-ledger", ledger_figure(before.data, after.data))]  # fmt: skip
    pairs = zip(before.services, after.services, strict=True)
    if any(_rows(service) for service in before.services):
        figures.insert(0, ("task-times", task_figure(list(pairs))))
    backlogs = zip(before.backlogs, after.backlogs, strict=True)
    figures += [
        (f"backlog-{number}", backlog_figure(old, new))
        for number, (old, new) in enumerate(backlogs, start=1)
    ]
    return [save_figure(figure, folder / f"{name}.{kind}") for name, figure in figures]


def _rows(service: ServiceForecast) -> list[TaskForecast]:
    """Tasks with a target, which are the ones to judge."""
    return [task for task in service.tasks if task.task.target_s is not None and not task.refused]


@in_house_style
def task_figure(services: list[tuple[ServiceForecast, ServiceForecast]]) -> "Figure":
    """Each task's 5 % to 95 % of times with its median and its target, before and after."""
    rows = [(old.service.name, task.task.name, pair)
            for old, new in services for task, pair in _task_pairs(old, new)]  # fmt: skip
    figure, axes = new_figure("Time of each task at the busy hour", n_rows=len(rows))
    for row, (_, _, (old_task, new_task)) in enumerate(rows):
        _draw_range(axes, row + 0.02, old_task.time, _BEFORE)
        _draw_range(axes, row + 0.24, new_task.time, _AFTER)
        axes.vlines(old_task.task.target_s or 0.0, row - 0.1, row + 0.36, color=BLACK, linewidth=2)
    name_rows(axes, [_cut(f"{service}: {task}", 48) for service, task, _ in rows])
    axes.set_xscale("log")
    axes.minorticks_off()
    low, high = axes.get_xlim()
    ticks = [tick for tick in _TIME_TICKS_S if low <= tick <= high]
    if len(ticks) >= 2:
        axes.set_xticks(ticks, [format_duration(tick, 1) for tick in ticks])
    axes.set_xlabel("time, 5 % to 95 % of cases and median")
    _keys(axes, target="target for the 95 % end")
    put_legend_below(figure)
    return figure


def _task_pairs(
    old: ServiceForecast, new: ServiceForecast
) -> list[tuple[TaskForecast, tuple[TaskForecast, TaskForecast]]]:
    changed = {task.task.name: task for task in new.tasks}
    return [(task, (task, changed[task.task.name])) for task in _rows(old)
            if task.task.name in changed and not changed[task.task.name].refused]  # fmt: skip


def _draw_range(axes: "Axes", y: float, time: "Forecast", look: dict[str, str]) -> None:
    low, middle, high = (float(q) for q in time.quantile(QUANTILES))
    if not np.isfinite(middle):
        axes.annotate("never", (0.99, y), xycoords=("axes fraction", "data"), ha="right",
                      va="center", color=look["color"])  # fmt: skip
        return
    ends = [low, high if np.isfinite(high) else middle * 100]
    axes.plot(ends, [y, y], color=look["color"], linestyle=look["linestyle"], linewidth=1.8)
    axes.plot([middle], [y], color=look["color"], marker=look["marker"], markersize=4.5)


def _keys(axes: "Axes", *, target: str) -> None:
    """Legend entries for what was drawn piece by piece."""
    for look in (_BEFORE, _AFTER):
        axes.plot([], [], color=look["color"], linestyle=look["linestyle"],
                  marker=look["marker"], label=look["label"])  # fmt: skip
    axes.plot([], [], color=BLACK, linewidth=2, label=target)


@in_house_style
def data_figure(before: DataForecast, after: DataForecast) -> "Figure":
    """Chance that a billing cycle uses no more than x, before and after, with the cap."""
    figure, axes = new_figure("Data use of a billing cycle")
    for data, look in ((before, _BEFORE), (after, _AFTER)):
        _draw_chances(axes, data.use.draws / 1e9, look)
    if before.cap_bytes is not None:
        axes.axvline(before.cap_bytes / 1e9, color=BLACK, linewidth=2, label="cap of the plan")
    axes.set_xlim(left=0)
    axes.set_xlabel("data that the plan counts [GB]")
    axes.set_ylabel("chance to use no more [%]")
    axes.set_ylim(0, 101)
    put_legend_below(figure)
    return figure


@in_house_style
def backlog_figure(before: BacklogForecast, after: BacklogForecast) -> "Figure":
    """Chance that a backlog is done after x days, before and after."""
    title = f"Backlog: {_cut(before.backlog.name)}"
    figure, axes = new_figure(title)
    for forecast, look in ((before, _BEFORE), (after, _AFTER)):
        _draw_chances(axes, forecast.days.draws, look)
    axes.set_xlim(left=0)
    axes.set_xlabel("days from the start [days]")
    axes.set_ylabel("chance to be done [%]")
    axes.set_ylim(0, 101)
    put_legend_below(figure)
    return figure


def _draw_chances(axes: "Axes", draws: "np.ndarray[tuple[int], np.dtype[np.float64]]",
                  look: dict[str, str]) -> None:  # fmt: skip
    ordered = np.sort(draws)
    chances = 100 * np.arange(1, ordered.size + 1) / ordered.size
    known = np.isfinite(ordered)
    if not known.any():
        axes.plot([], [], color=look["color"], linestyle=look["linestyle"],
                  label=f"{look['label']}: never")  # fmt: skip
        return
    x, y = thinned(ordered[known], chances[known])
    axes.plot(x, y, color=look["color"], linestyle=look["linestyle"], linewidth=1.8,
              label=look["label"])  # fmt: skip


@in_house_style
def ledger_figure(before: DataForecast, after: DataForecast) -> "Figure":
    """What spends the data, the largest causes first, before and after."""
    later = {entry.cause: float(entry.use.quantile(0.5)) for entry in after.ledger}
    causes = sorted(
        ((float(entry.use.quantile(0.5)), entry.cause) for entry in before.ledger), reverse=True
    )[:_N_CAUSES]
    figure, axes = new_figure("What spends the data", n_rows=len(causes))
    # full and hollow: told apart without colour too
    for at, uses, look in (
        (-0.02, [use for use, _ in causes], {"color": VERMILION, "label": "as it is"}),
        (0.24, [later.get(cause, 0.0) for _, cause in causes],
         {"facecolor": "none", "edgecolor": BLUE, "linewidth": 1.4, "label": "with the changes"}),
    ):  # fmt: skip
        axes.barh(np.arange(len(causes)) + at, np.array(uses) / 1e9, 0.22, **look)
    name_rows(axes, [_cut(cause, 48) for _, cause in causes])
    axes.set_xlabel("median of a billing cycle [GB]")
    put_legend_below(figure)
    return figure


def _cut(text: str, limit: int = _LONGEST_LABEL) -> str:
    """`text` harmless, short, and with no sign that matplotlib would read as mathematics."""
    return harmless(text, limit=limit).replace("$", r"\$")
