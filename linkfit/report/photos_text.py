"""Sizes and encoders of stored pictures for a person, from the record that --json prints."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from linkfit.forecast.user_limits import MOST_USERS
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import amount, between
from linkfit.units import format_count, format_duration, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")
_FORMATS = {"jpeg": "JPEG", "webp": "WebP"}


def photos_text(record: Record) -> "list[RenderableType]":
    """A table for each task that sends pictures, and how to read it."""
    if not record["tasks"]:
        return [
            heading(record["site"]),
            sentence("No task of this site sends stored pictures over a measured direction."),
        ]
    return apart(
        [
            [heading(record["site"]), *bullets(record["what_if"])],
            *(_table(task) for task in record["tasks"]),
            _notes(record),
        ]
    )


def _table(task: Record) -> "list[RenderableType]":
    users = format_count(task["n_users"], "user")
    pictures = format_count(task["n_requests"], "picture")
    target = "" if task["target_s"] is None else f", target {format_duration(task['target_s'])}"
    listing = Listing(
        columns=(
            Column(heading="long edge, encoder"),
            Column(heading="one picture", right=True),
            Column(heading="19 of 20 within", right=True),
            Column(heading="users", right=True),
            Column(heading="a cycle", right=True),
        )
    )
    for choice in task["choices"]:
        stored = f"{choice['edge_px']} px {_FORMATS[choice['format']]} q{choice['quality']}"
        listing.add(
            (stored, "as the site is") if choice["present"] else stored,
            format_size(choice["median_bytes"], 2),
            (_seconds(choice["p95_s"]), _interval(choice)),
            _users(choice),
            (
                format_size(choice["p50_bytes_per_cycle"] or 0.0, 2),
                f"({_sizes(choice['p05_bytes_per_cycle'], choice['p95_bytes_per_cycle'])})",
            ),
        )
    return [heading(f"{task['service']}: {task['task']} ({pictures}, {users}{target})"), listing]


def _seconds(time_s: float | None) -> str:
    return amount(_INFINITY if time_s is None else time_s, "s")


def _interval(choice: Record) -> str:
    low, high = (
        _INFINITY if choice[key] is None else choice[key] for key in ("p95_low_s", "p95_high_s")
    )
    return f"({between(low, high, 's')})"


def _sizes(low_bytes: float | None, high_bytes: float | None) -> str:
    """Two sizes, their unit said once where they share it."""
    first, last = (format_size(size or 0.0, 2) for size in (low_bytes, high_bytes))
    number, _, unit = first.rpartition(" ")
    return f"{number} to {last}" if last.endswith(f" {unit}") else f"{first} to {last}"


def _users(choice: Record) -> "str | tuple[str, str]":
    if choice["max_users"] is None:
        return ""
    most = f"{choice['max_users']}" + ("+" if choice["max_users"] >= MOST_USERS else "")
    low, high = choice["max_users_low"], choice["max_users_high"]
    return most if low == high else (most, f"({low} to {high})")


def _notes(record: Record) -> "list[RenderableType]":
    choices = [choice for task in record["tasks"] for choice in task["choices"]]
    lines = [
        "one picture: the median; 19 of 20 within: time of the task at the busy hour for someone "
        "elsewhere (out: link up), in brackets the 90 % interval on it; users: for how many the "
        "target holds; a cycle: of the data plan, by this task, with its 90 % interval",
        "sizes follow a law measured on 114 pictures of an open photo set (the median grows as "
        "the long edge to the power 1.7 in JPEG, 1.6 in WebP); newer phones take 10 to 30 % less "
        "(common practice); measure a few of your own",
    ]
    beyond = sorted({choice["extrapolated"] for choice in choices} - {""})
    return [heading("How to read this"), *bullets([*lines, *(f"beyond what was measured: {text}"
                                                             for text in beyond)])]  # fmt: skip
