"""When something is open: windows of the local day, their common part, and the time they leave."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.power import HOURS_PER_DAY, POWER_START_H, sustained_hours_per_day
from linkfit.site.hours import DayWindow, Hours

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

Intervals = tuple[tuple[float, float], ...]  # disjoint, rising, hours of the day in [0, 24]
ALL_DAY: Intervals = ((0.0, HOURS_PER_DAY),)


def day_intervals(windows: Sequence[DayWindow]) -> Intervals:
    """The union of `windows`, cut at midnight; all day for none. [h]"""
    if not windows:
        return ALL_DAY
    pieces: list[tuple[float, float]] = []
    for window in windows:
        if window.start_h < window.end_h:
            pieces.append((window.start_h, window.end_h))
        else:
            pieces += [(window.start_h, HOURS_PER_DAY), (0.0, window.end_h)]
    return _joined(piece for piece in pieces if piece[0] < piece[1])


def _joined(pieces: Iterable[tuple[float, float]]) -> Intervals:
    """The union of pieces of the day, rising and disjoint."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(pieces):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return tuple(joined)


def common_part(one: Intervals, other: Intervals) -> Intervals:
    """Hours that lie in both; empty if none do. [h]"""
    both = ((max(a, c), min(b, d)) for a, b in one for c, d in other)
    return tuple(sorted((start, end) for start, end in both if start < end))


def longer(intervals: Intervals, extra_h: float) -> Intervals:
    """`intervals` of a day, the last of them going on for `extra_h` more; all day at most. [h]"""
    if not intervals:
        return intervals
    edges = [0.0, *(hour for pair in intervals for hour in pair), HOURS_PER_DAY]
    gaps = [gap for gap in zip(edges[::2], edges[1::2], strict=True) if gap[0] < gap[1]]
    found = list(intervals)
    for start, end in [*gaps[-1:], *gaps[:-1]]:  # from the last closing on, over midnight
        more_h = min(extra_h, end - start)
        if more_h > 0:
            found.append((start, start + more_h))
            extra_h -= more_h
    return _joined(found)


def power_intervals(up_h: float) -> Intervals:
    """Where `up_h` hours of a day lie when battery and panel decide. [h]"""
    if up_h <= 0:
        return ()
    if up_h >= HOURS_PER_DAY:
        return ALL_DAY
    return day_intervals(
        [DayWindow(start_h=POWER_START_H, end_h=(POWER_START_H + up_h) % HOURS_PER_DAY)]
    )


def site_intervals(hours: Hours) -> Intervals:
    """Hours of a usual day in which the server is up: its windows, and what power allows. [h]"""
    up = day_intervals(hours.windows)
    if hours.power is None:
        return up
    return common_part(up, power_intervals(sustained_hours_per_day(hours.power)))


def open_frac(intervals: Intervals) -> float:
    """Part of the day that lies in `intervals`. [fraction]"""
    return sum(end - start for start, end in intervals) / HOURS_PER_DAY


def open_hours(intervals: Intervals, clock_h: "ArrayLike") -> "NDArray[np.float64]":
    """Open hours from midnight of day 0 until `clock_h` (>= 0, may be days later). [h]"""
    clock = np.asarray(clock_h, float)
    if not intervals:
        return np.zeros(clock.shape)
    edges = np.array([0.0, *(hour for pair in intervals for hour in pair), HOURS_PER_DAY])
    lengths = np.zeros(edges.size)
    lengths[2:-1:2] = [end - start for start, end in intervals]
    since_midnight = np.cumsum(lengths)
    days, hour = np.divmod(clock, HOURS_PER_DAY)
    return days * since_midnight[-1] + np.interp(hour, edges, since_midnight)
