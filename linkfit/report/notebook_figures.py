"""One figure of each value that a notebook shows: a trace, a link, a forecast, an evaluation.

Each function returns a matplotlib figure; a notebook draws what the last line of a cell returns.
"""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError
from linkfit.ingest.trace import DIRECTIONS, Trace
from linkfit.link.model import LinkModel
from linkfit.link.series import measured_runs
from linkfit.report.compare_figures import times_figure
from linkfit.report.figure_style import (
    BLACK,
    BLUE,
    in_house_style,
    new_figure,
    put_legend_below,
    thinned,
)
from linkfit.report.link_curves import model_rates_bps, quantile_curve
from linkfit.report.link_figures import quantile_figure, time_series_figure
from linkfit.report.wording import QUANTILES
from linkfit.units import SECONDS_PER_DAY, format_amount

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.outcomes import Evaluation

# from the first that the median reaches: unit of the axis, and how much of the Forecast's unit
_SCALES = {
    "s": ((SECONDS_PER_DAY, "days"), (3600.0, "h"), (60.0, "min"), (1.0, "s"), (0.0, "ms")),
    "bytes": ((1e9, "GB"), (1e6, "MB"), (0.0, "kB")),
    "bit/s": ((1e6, "Mbit/s"), (0.0, "kbit/s")),
}
_QUANTITIES = {"s": "time", "days": "time", "bytes": "data", "bit/s": "rate"}
_SMALLEST = {"ms": 1e-3, "kB": 1e3, "kbit/s": 1e3}


def trace_figure(trace: Trace, direction: str | None = None) -> "Figure":
    """Rates over time of the saturating samples of one direction, else of the first measured.

    Raises
    ------
    InputError
        If there is no such sample.
    """
    for name in DIRECTIONS if direction is None else (direction,):
        runs = measured_runs(trace, name)
        if runs is not None:
            return time_series_figure(runs, name)
    raise InputError(
        f"trace: expected saturating samples of {direction or 'either direction'}, got none; "
        "real transfers and round trips have no series of rates"
    )


def link_figure(link: LinkModel, direction: str | None = None, *, seed: int = 0) -> "Figure":
    """Quantiles of the seconds of one direction, measured and modelled."""
    if direction is None:
        direction = "up" if link.up is not None else "down"
    runs = link.direction(direction).runs
    return quantile_figure(quantile_curve(runs, model_rates_bps(link, direction, seed)), direction)


@in_house_style
def forecast_figure(forecast: "Forecast", title: str = "Forecast") -> "Figure":
    """Chance that a value is no more than x, with its 5 %, median and 95 % points."""
    points = [float(q) for q in forecast.quantile(QUANTILES)]
    factor, unit = _scale(points[1], forecast.unit)
    figure, axes = new_figure(title)
    ordered = np.sort(forecast.draws)
    known = np.isfinite(ordered)
    chances = 100 * np.arange(1, ordered.size + 1) / ordered.size
    x, y = thinned(ordered[known] / factor, chances[known])
    label = "chance of no more" if known.any() else "never, in any draw"
    axes.plot(x, y, color=BLUE, linewidth=1.8, label=label)
    for level, point, marker in zip(QUANTILES, points, "<o>", strict=True):
        if np.isfinite(point):
            label = f"{100 * level:.0f} %: {format_amount(point, forecast.unit)}"
            axes.plot([point / factor], [100 * level], color=BLACK, marker=marker,
                      linestyle="none", label=label)  # fmt: skip
    axes.set_xlabel(f"{_QUANTITIES.get(forecast.unit, '')} [{unit}]".lstrip())
    axes.set_ylabel("chance of no more [%]")
    axes.set_ylim(0, 101)
    put_legend_below(figure, n_columns=2)
    return figure


def _scale(middle_value: float, unit: str) -> tuple[float, str]:
    """How much of the Forecast's unit one unit of the axis is, and that unit."""
    for least, name in _SCALES.get(unit, ()):
        if np.isfinite(middle_value) and middle_value >= 2 * least:
            return _SMALLEST.get(name, least), name
    return 1.0, unit


def evaluation_figure(evaluation: "Evaluation", name: str = "this link") -> "Figure":
    """The time of each task with a target, on the link called `name`.

    Raises
    ------
    InputError
        If no task has a target that can be judged.
    """
    if not any(
        task.task.target_s is not None and not (task.refused or task.unmeasured)
        for service in evaluation.services
        for task in service.tasks
    ):
        raise InputError("evaluation: expected a task with a target, got none; set one")
    return times_figure([(name, evaluation)])
