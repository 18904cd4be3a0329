"""The capacity by hour of the day and day of the week, with what was never measured struck out."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from linkfit.link.daily import clocked_pieces, local_hours_and_days, zone_of
from linkfit.report.figure_layout import StackedLayout
from linkfit.report.figure_style import WIDTH_IN, in_house_style, put_legend_below
from linkfit.report.wording import DIRECTION_WORDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from linkfit.link.futures import DirectionModel

N_HOURS, N_DAYS = 24, 7
DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_EPOCH_WEEKDAY = 3  # 1970-01-01 was a Thursday; Monday is 0
# cells keep their colours on a dark page, and so does what stands on them
_INK, _PAPER = "#111111", "#FCFCFC"
_PALE, _DEEP = "#E8F3FA", "#006FB0"
_STROKE = "#808080"
_CORNERS = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])


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
    """Each measured cell with its number and a shade; the others struck out."""
    figure = Figure(figsize=(WIDTH_IN, 6.4), layout=StackedLayout())
    axes = figure.add_subplot()
    axes.set_title(f"Measured rate, {DIRECTION_WORDS[direction]}")
    hours, days = np.nonzero(found.is_measured)
    shares = found.median_bps[hours, days] / (float(found.median_bps.max()) or 1.0)
    shades = LinearSegmentedColormap.from_list("pale to blue", [_PALE, _DEEP])
    corners = np.stack([days, hours], axis=1)[:, None, :] + _CORNERS
    axes.add_collection(PolyCollection(corners, facecolors=shades(shares), linewidth=0))
    for hour, day, share in zip(hours.tolist(), days.tolist(), shares.tolist(), strict=True):
        number = float(f"{found.median_bps[hour, day] / 1e6:.2g}")
        axes.text(day, hour, f"{number:.{1 if number < 10 else 0}f}", ha="center", va="center",
                  color=_PAPER if share > 0.75 else _INK)  # fmt: skip
    _strike_out(axes, ~found.is_measured)
    axes.set_xlim(-0.5, N_DAYS - 0.5)
    axes.set_ylim(N_HOURS - 0.5, -0.5)
    axes.grid(visible=False)
    axes.set_xticks(range(N_DAYS), DAY_NAMES)
    axes.set_yticks(range(0, N_HOURS, 2), [f"{hour}" for hour in range(0, N_HOURS, 2)])
    axes.set_ylabel(f"hour of the day ({found.timezone})")
    axes.set_xlabel("number: median of the measured pieces [Mbit/s]")
    put_legend_below(figure)
    return figure


def _strike_out(axes: "Axes", cells: "NDArray[np.bool_]") -> None:
    """A stroke through each cell, all of them one path: a pattern would be printed as pictures."""
    hours, days = np.nonzero(cells)
    x = np.stack([days - 0.1, days + 0.1, np.full(days.size, np.nan)], axis=1).reshape(-1)
    y = np.stack([hours + 0.3, hours - 0.3, np.full(days.size, np.nan)], axis=1).reshape(-1)
    axes.plot(x, y, color=_STROKE, linewidth=0.8)
    axes.plot([], [], color=_STROKE, linestyle="none", marker=(2, 2, -25), markersize=9,
              label="never measured")  # fmt: skip
