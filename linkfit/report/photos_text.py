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
_LEAST_FOLDED = 5  # fewer choices are shown as they are
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
            *(_table(task, record["asked_px"]) for task in record["tasks"]),
            _notes(record),
        ]
    )


def _table(task: Record, asked_px: "list[int]") -> "list[RenderableType]":
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
    shown, note = _worth_showing(task, asked_px)
    for choice in shown:
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
    title = heading(f"{task['service']}: {task['task']} ({pictures}, {users}{target})")
    return [title, listing, *([sentence(note)] if note else [])]


def _worth_showing(task: Record, asked_px: "list[int]") -> "tuple[list[Record], str]":
    """All choices, or the present one alone where nothing must change, and what was left out.

    The largest that meets the target too is told, since it gives quality for nothing.
    """
    choices = list(task["choices"])
    target_s, present = task["target_s"], choices[0]
    if target_s is None or not _meets(present, target_s) or len(choices) < _LEAST_FOLDED:
        return choices, ""
    meeting = [one for one in choices[1:] if _meets(one, target_s)]
    shown = [present]
    if meeting:
        shown.append(max(meeting, key=lambda one: (one["edge_px"], one["median_bytes"])))
        shown.append(min(meeting, key=lambda one: one["median_bytes"]))
    shown += [one for one in choices if one["edge_px"] in asked_px]
    shown = [one for index, one in enumerate(shown) if one not in shown[:index]]
    if len(shown) == len(choices):
        return choices, ""
    left = format_count(len(choices) - len(shown), "other choice")
    return shown, (
        "Its pictures meet the target as they are; shown besides are the largest and the "
        f"smallest that meet it too. {left} left out (all of them: --json)."
    )


def _meets(choice: Record, target_s: float) -> bool:
    return choice["p95_s"] is not None and choice["p95_s"] <= target_s


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
    keys = ("max_users", "max_users_low", "max_users_high")
    most, low, high = (
        f"{choice[key]}" + ("+" if choice[key] >= MOST_USERS else "") for key in keys
    )
    return most, f"({low})" if low == high else f"({low} to {high})"


def _notes(record: Record) -> "list[RenderableType]":
    choices = [choice for task in record["tasks"] for choice in task["choices"]]
    lines = [
        "one picture: the median; 19 of 20 within: time of the task at the busy hour for someone "
        "elsewhere (out: link up), in brackets the 90 % interval on it; users: for how many the "
        "target holds, with its 90 % interval; a cycle: of the data plan, by this task, with its "
        "90 % interval",
        "sizes follow a law measured on 114 pictures of an open photo set (the median grows as "
        "the long edge to the power 1.7 in JPEG, 1.6 in WebP); newer phones take 10 to 30 % less "
        "(common practice); measure a few of your own",
    ]
    beyond = sorted({choice["extrapolated"] for choice in choices} - {""})
    return [heading("How to read this"), *bullets([*lines, *(f"beyond what was measured: {text}"
                                                             for text in beyond)])]  # fmt: skip
