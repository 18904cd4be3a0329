"""How a Forecast shows itself in a notebook: its points, and how sure they are."""

from typing import Any

import numpy as np

from linkfit.html_table import html_table
from linkfit.units import format_amount

POINTS = {"5 %": 0.05, "median": 0.5, "95 %": 0.95}


class ShownForecast:
    """Gives `_repr_html_` to a Forecast; adds nothing else."""

    __slots__ = ()

    def _repr_html_(self: Any) -> str:
        rows = [[name, *_value(self, level)] for name, level in POINTS.items()]
        n_worlds = int(np.unique(self.world).size)
        caption = f"Forecast of {self.draws.size} draws in {n_worlds} worlds"
        notes = ["the interval tells how sure a point is, given how little was measured"]
        notes += [f"of the median: {name} {format_amount(value, self.unit)}"
                  for name, value in self.parts.items()]  # fmt: skip
        return html_table(caption, ("point", "value", "90 % interval"), rows, notes)


def _value(forecast: Any, level: float) -> tuple[str, str]:
    """A quantile and its interval over the worlds."""
    low, high = (format_amount(end, forecast.unit) for end in forecast.quantile_interval(level))
    return format_amount(float(forecast.quantile(level)), forecast.unit), f"{low} to {high}"
