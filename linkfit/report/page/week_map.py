"""The capacity by hour of the day and day of the week, with what was never measured hatched."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from linkfit.link.daily import clocked_pieces, local_hours_and_days, zone_of
from linkfit.report.figure_style import BLUE, in_house_style
from linkfit.report.wording import DIRECTION_WORDS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.futures import DirectionModel

N_HOURS, N_DAYS = 24, 7
DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_EPOCH_WEEKDAY = 3  # 1970-01-01 was a Thursday; Monday is 0
_INK, _PAPER = "#111111", "#FCFCFC"  # on cells that keep their colour on a dark page
_PALE = "#E8F3FA"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeekMap:
    """Median of the measured pieces in each hour and day, shape (24, 7); 0 where `n_pieces` is 0.

    `measured_s` and `n_pieces` have the same shape; pieces are at most ten minutes long.
    """

    median_bps: "NDArray[np.float64]"
    measured_s: "NDArray[np.float64]"
    n_pieces: "NDArray[np.int64]"
    timezone: str

    @property
    def is_measured(self) -> "NDArray[np.bool_]":
        """Was there any measurement in the cell?"""
        return self.n_pieces > 0


def week_map(model: "DirectionModel") -> WeekMap:
    """The map of one direction; all cells empty where its sources have no clock."""
    runs, timezone = model.runs, model.daily.timezone
    middle_s, mean_bps, length_s = clocked_pieces(runs, np.isfinite(runs.start_s))
    hour, day = local_hours_and_days(middle_s, zone_of(timezone))
    cell = (hour.astype(np.int64) % N_HOURS) * N_DAYS + (day + _EPOCH_WEEKDAY) % N_DAYS
    n_cells = N_HOURS * N_DAYS
    median = np.zeros(n_cells)
    for index in np.unique(cell):
        median[index] = np.median(mean_bps[cell == index])
    shape = (N_HOURS, N_DAYS)
    return WeekMap(
        median_bps=median.reshape(shape),
        measured_s=np.bincount(cell, weights=length_s, minlength=n_cells)
        .astype(np.float64)
        .reshape(shape),
        n_pieces=np.bincount(cell, minlength=n_cells).reshape(shape),
        timezone=timezone,
    )


@in_house_style
def week_figure(found: WeekMap, direction: str) -> Figure:
    """Each measured cell with its number and a shade; the others hatched."""
    figure = Figure(figsize=(5.0, 6.4), layout="constrained")
    axes = figure.add_subplot()
    axes.set_title(f"Measured rate, {DIRECTION_WORDS[direction]}")
    top_bps = float(found.median_bps.max()) or 1.0
    shades = LinearSegmentedColormap.from_list("pale to blue", [_PALE, BLUE])
    for hour in range(N_HOURS):
        for day in range(N_DAYS):
            _draw_cell(axes, found, hour, day, shades, top_bps)
    axes.set_xlim(-0.5, N_DAYS - 0.5)
    axes.set_ylim(N_HOURS - 0.5, -0.5)
    axes.grid(visible=False)
    axes.set_xticks(range(N_DAYS), DAY_NAMES)
    axes.set_yticks(range(0, N_HOURS, 2), [f"{hour}" for hour in range(0, N_HOURS, 2)])
    axes.set_ylabel(f"hour of the day ({found.timezone})")
    axes.set_xlabel("number: median of the measured pieces [Mbit/s]")
    key = Patch(facecolor="none", edgecolor="#808080", hatch="////", label="never measured")
    figure.legend(handles=[key], loc="outside lower center")
    return figure


def _draw_cell(axes, found: WeekMap, hour: int, day: int, shades, top_bps: float) -> None:  # type: ignore[no-untyped-def]
    corner = (day - 0.5, hour - 0.5)
    if not found.is_measured[hour, day]:
        axes.add_patch(Rectangle(corner, 1, 1, facecolor="none", edgecolor="#808080",
                                 hatch="////", linewidth=0))  # fmt: skip
        return
    share = float(found.median_bps[hour, day]) / top_bps
    axes.add_patch(Rectangle(corner, 1, 1, facecolor=shades(share), linewidth=0))
    ink = _PAPER if share > 0.75 else _INK
    number = found.median_bps[hour, day] / 1e6
    text = f"{number:.1f}" if number < 9.95 else f"{number:.0f}"
    axes.text(day, hour, text, ha="center", va="center", fontsize=8, color=ink)
