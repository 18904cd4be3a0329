"""A bar of letters for a terminal: an interval, its median and a target on one scale.

Plain ASCII, no colour: ``....---o-----.!..`` has its 5 to 95 % at the dashes, its median at the o
and the target at the exclamation mark; an end that lies beyond the scale is < or >.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

BAR_WIDTH = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class BarScale:
    """A logarithmic scale from `low` to `high`, both above 0, over `width` letters."""

    low: float
    high: float
    width: int = BAR_WIDTH

    def place(self, value: float) -> int:
        """Which letter stands for `value`; -1 below the scale and `width` above it."""
        if not value >= self.low:
            return -1
        if value > self.high:
            return self.width
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return min(int(share * self.width), self.width - 1)


def bar_scale(values: Iterable[float | None], *, width: int = BAR_WIDTH) -> BarScale | None:
    """The scale that holds all finite `values` above 0; None if there are none."""
    known = [v for v in values if v is not None and math.isfinite(v) and v > 0]
    if not known:
        return None
    low, high = min(known), max(known)
    room = max((high / low) ** 0.03, 1.02)  # neither end stands in the last letter
    return BarScale(low=low / room, high=high * room, width=width)


def interval_bar(
    scale: BarScale,
    low: float | None,
    middle_value: float | None,
    high: float | None,
    target_value: float | None = None,
) -> str:
    """`scale.width` letters that show the interval; None for a value means that it never ends."""
    letters = ["."] * scale.width
    places = [scale.place(math.inf if v is None else v) for v in (low, middle_value, high)]
    first, last = max(places[0], 0), min(places[2], scale.width - 1)
    for place in range(first, last + 1):
        letters[place] = "-"
    if 0 <= places[1] < scale.width:
        letters[places[1]] = "o"
    if target_value is not None and 0 <= scale.place(target_value) < scale.width:
        letters[scale.place(target_value)] = "!"
    if places[0] < 0:
        letters[0] = "<"
    if places[2] >= scale.width:
        letters[-1] = ">"
    return "".join(letters)
