"""Times of tasks as bars of letters, all on one scale whose middle is the task's own target."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.interval_bar import BarScale, interval_bar
from linkfit.report.listing import heading, sentence
from linkfit.report.plain import harmless

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

Record = Mapping[str, Any]
FURTHEST = 30.0  # times and thirtieths of the target at the ends of a bar
MOST_BARS = 24
_WIDE, _NARROW = 25, 15  # odd, so that the target has the middle letter
_WIDE_FROM = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """One task: its times as shares of its target; None where it never ends."""

    name: str
    shares: tuple[float | None, float | None, float | None]

    def __rich_console__(self, console: "Console", options: "ConsoleOptions") -> "RenderResult":
        width = _WIDE if options.max_width >= _WIDE_FROM else _NARROW
        scale = BarScale(low=1.0 / FURTHEST, high=FURTHEST, width=width)
        edge_share = FURTHEST ** (1.0 / width)  # of the middle letter, which is the target's own
        low, middle, high = (_beside(share, edge_share) for share in self.shares)
        bar = interval_bar(scale, low, middle, high, 1.0)
        yield Text(f"{bar} {self.name}", no_wrap=True, overflow="ellipsis")


def _beside(share: float | None, edge_share: float) -> float | None:
    """A share that differs from 1 moved out of the target's letter, to its own side."""
    if share is None or share == 1.0:
        return share
    return max(share, 1.0001 * edge_share) if share > 1.0 else min(share, 0.9999 / edge_share)


def target_bars(services: Sequence[Record]) -> "list[RenderableType]":
    """A line for each promised task with a target that can be judged; at most 24."""
    tasks = [
        (service["name"], task)
        for service in services
        for task in service["tasks"]
        if task["must_carry"] and task["target_s"] and not (task["refused"] or task["unmeasured"])
    ]
    if not tasks:
        return []
    bars: list[RenderableType] = [_bar(name, task) for name, task in tasks[:MOST_BARS]]
    left = len(tasks) - MOST_BARS
    more = [sentence(f"and {left} more (all of them: --json)")] if left > 0 else []
    told = (
        "! is the target, o the median, -- from 5 to 95 % of cases: all left of ! is in time. The "
        f"ends are a thirtieth and {FURTHEST:.0f} times the target."
    )
    return [heading("Times against their targets, as the site is"), *bars, *more, sentence(told)]


def _bar(service: str, task: Record) -> _Bar:
    target_s = task["target_s"]
    low, middle, high = (
        None if task[key] is None else task[key] / target_s for key in ("p05_s", "p50_s", "p95_s")
    )
    return _Bar(name=harmless(f"{service}: {task['name']}"), shares=(low, middle, high))
