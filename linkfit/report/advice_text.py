"""The advice for a person, section by section, from the same record that --json prints."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rich.padding import Padding
from rich.text import Text

from linkfit.report.listing import Column, Listing, as_text, bullets, heading
from linkfit.report.plain import harmless
from linkfit.report.wording import amount, between
from linkfit.units import format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
# the word says it, the colour only helps
_VERDICT_STYLES = {"fits": "green", "fits with changes": "yellow", "does not fit": "red"}
_INFINITY = float("inf")


def advice_text(record: Record) -> "list[RenderableType]":
    """Verdicts, changes, data use, backlogs, what is missing and the cautions, in this order."""
    return [
        *services_text(record["services"]),
        *changes_text(record["changes"]),
        *data_text(record["data"]),
        *backlogs_text(record["backlogs"]),
        *_section("Not measured", record.get("missing", [])),
        *_section("Notes", record.get("notes", [])),
        *_section("Before you rely on this", record["cautions"]),
    ]


def services_text(services: Sequence[Record]) -> "list[RenderableType]":
    """One block a service: its verdict in words, its tasks, and room for how many."""
    if not services:
        return []
    parts: list[RenderableType] = [heading("Services at the busy hour")]
    for service in services:
        verdict = service["verdict"]
        style = _VERDICT_STYLES.get(verdict, "bold")
        name = f"{service['name']} ({service['kind']})"
        parts += [Text(), Text.assemble((harmless(name), "bold"), ": ", (verdict, style))]
        parts.append(Padding(_tasks(service["tasks"]), (0, 0, 0, 2), expand=False))
    parts += [
        Text(),
        as_text(
            "out: the server sends (link up); in: the server receives (link down). The target "
            "is for the 95th percentile; 'sure within' is the 90 % interval on it, wide where "
            "the link was measured little."
        ),
    ]
    return parts


def _tasks(tasks: Sequence[Record]) -> Listing:
    listing = Listing(
        columns=(
            Column(heading="task", prose=True),
            Column(heading="flow"),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="sure within", right=True),
            Column(heading="target", right=True),
            Column(heading="in time", right=True),
            Column(heading="users", right=True),
        )
    )
    for task in tasks:
        name = task["name"]
        if task.get("refused"):
            name = f"{name} (cannot be carried: {task['refused']})"
        prob, users = task["prob_within_target"], task["max_users"]
        listing.add(
            name,
            task["flow"],
            *(_seconds(task[key]) for key in ("p05_s", "p50_s", "p95_s")),
            _seconds_between(task["p95_low_s"], task["p95_high_s"]),
            "" if task["target_s"] is None else _seconds(task["target_s"]),
            "" if prob is None else format_share(prob),
            "" if users is None else f"{users}",
        )
    return listing


def changes_text(changes: Sequence[Record]) -> "list[RenderableType]":
    """What to change, from what to what, the gain as re-evaluated, and what it costs."""
    if not changes:
        return []
    parts: list[RenderableType] = [heading("Changes that make it fit")]
    for number, change in enumerate(changes, start=1):
        where = f"{change['service']}: " if change["service"] else ""
        title = harmless(f"{number}. {where}{change['what']}")
        step = harmless(f": {change['from']} -> {change['to']}")
        parts += [Text(), Text.assemble((title, "bold"), step)]
        gains = [f"{g['measure']}: {_gain(g)}" for g in change["gain"]]
        lines = [*gains, f"costs: {change['cost']}"]
        parts += [Padding(line, (0, 0, 0, 3), expand=False) for line in bullets(lines)]
    return parts


def _gain(gain: Record) -> str:
    unit = gain.get("unit", "")
    return f"{_value(gain['before'], unit)} -> {_value(gain['after'], unit)}"


def _value(value: float | str | None, unit: str) -> str:
    if isinstance(value, str):
        return value
    if unit == "probability":
        return "unknown" if value is None else format_share(value)
    return amount(_INFINITY if value is None else value, unit)


def data_text(data: Record) -> "list[RenderableType]":
    """Data use of a cycle, the chance of an overrun, when the plan runs out, and the ledger."""
    low, middle, high = (format_size(data[f"{level}_bytes"]) for level in ("p05", "p50", "p95"))
    lines = [f"{middle} in a billing cycle (90 %: {low} to {high})"]
    cap_bytes = data["cap_bytes"]
    if cap_bytes is None:
        lines.append("the plan has no cap")
    else:
        chance = format_share(data["prob_over_cap"])
        lines.append(f"the cap is {format_size(cap_bytes)}; chance to use more: {chance}")
    runs_out = data["runs_out"]
    if cap_bytes is not None and runs_out is not None:
        lines.append(f"runs out after: {_runs_out(runs_out)}")
    ledger = Listing(columns=(Column(heading="what spends it", prose=True),
                              Column(heading="median a cycle", right=True)))  # fmt: skip
    for entry in data["ledger"]:
        ledger.add(entry["cause"], format_size(entry["p50_bytes"]))
    return [heading("Data use"), *bullets(lines), Text(), ledger]


def _runs_out(runs_out: Record) -> str:
    early, middle, late = (runs_out[level] for level in ("p05", "p50", "p95"))
    if early is None:
        return "never, in 19 of 20 cycles"
    return f"{_days(middle)} (90 %: {_days(early)} to {_days(late)})"


def backlogs_text(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """When each backlog is done and what holds it back."""
    if not backlogs:
        return []
    listing = Listing(
        columns=(
            Column(heading="backlog", prose=True),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="held back by", prose=True),
            Column(heading="by deadline", right=True),
        )
    )
    for backlog in backlogs:
        prob = backlog["prob_by_deadline"]
        listing.add(
            backlog["name"],
            *(_days(backlog[key]) for key in ("p05_days", "p50_days", "p95_days")),
            backlog.get("refused") or backlog["binding"],
            "" if prob is None else format_share(prob),
        )
    return [heading("Backlogs, from their start to done"), listing]


def _section(title: str, sentences: Sequence[str]) -> "list[RenderableType]":
    return [heading(title), *bullets(sentences)] if sentences else []


def _seconds(time_s: float | None) -> str:
    return amount(_INFINITY if time_s is None else time_s, "s")


def _seconds_between(low_s: float | None, high_s: float | None) -> str:
    low = _INFINITY if low_s is None else low_s
    return between(low, _INFINITY if high_s is None else high_s, "s")


def _days(days: float | None) -> str:
    return amount(_INFINITY if days is None else days, "days")
