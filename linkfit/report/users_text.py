"""How many users a site's services bear, for a person."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.listing import Column, Listing, bullets, heading
from linkfit.report.wording import DIRECTION_WORDS, amount, between
from linkfit.units import format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")
_UNHEARD_OF = 1000  # users: beyond that the exact number says nothing


def users_text(record: Record) -> "list[RenderableType]":
    """The answer first, then each task, then the time against the number of users."""
    services = record["services"]
    parts: list[RenderableType] = [heading("Users at the busy hour"), Text()]
    parts.append(_services(services))
    remarks = bullets(_remarks(services))
    parts += [Text(), *remarks] if remarks else []
    for service in services:
        for task in service["tasks"]:
            if task["curve"]:
                parts += [Text(), *_curve(service, task)]
    if len(services) == 1 and len(services[0]["tasks"]) > 1:
        parts += [Text(), heading("Each task"), Text(), _tasks(services[0]["tasks"])]
    return [*parts, Text(), *bullets(_notes(record))]


def _services(services: Sequence[Record]) -> Listing:
    listing = Listing(
        columns=(
            Column(heading="service", prose=True),
            Column(heading="now", right=True),
            Column(heading="at most", right=True),
            Column(heading="5 %", right=True),
            Column(heading="95 %", right=True),
            Column(heading="first too slow", prose=True),
            Column(heading="fills first", prose=True),
        )
    )
    for service in services:
        listing.add(
            service["name"], str(service["n_users"]), *_limits(service),
            service["first_slow"], _fills(service),
        )  # fmt: skip
    return listing


def _limits(record: Record) -> tuple[str, str, str]:
    """The largest number, and its two ends."""
    if record["max_users"] is None:
        return "any" if "curve" not in record or record["target_s"] else "", "", ""
    if record["max_users_at_limit"]:
        return f"{record['max_users']}+", f"{record['max_users_low']}", ""
    return f"{record['max_users']}", f"{record['max_users_low']}", f"{record['max_users_high']}"


def _fills(service: Record) -> str:
    """The direction that users fill first, and for how many."""
    way = service["fills_first"]
    if way is None:
        return ""
    use = next(use for use in service["directions"] if use["direction"] == way)
    if use["p95_full_users"] == 0:
        return f"{way}, full without them"
    return f"{way} at {_full(use)}"


def _full(use: Record) -> str:
    low, middle, high = (
        f"{use[key]:.0f}" if use[key] is not None and use[key] <= _UNHEARD_OF else f"{_UNHEARD_OF}+"
        for key in ("p05_full_users", "p50_full_users", "p95_full_users")
    )
    return middle if low == high else f"{middle} ({low} to {high})"


def _remarks(services: Sequence[Record]) -> list[str]:
    """What the table cannot hold: refusals, what was not measured, who is over already."""
    remarks = [
        f"the site asks for {format_share(use['busy_frac'])} of the link {use['direction']} in "
        "its busy hour, so every service on it waits"
        for use in (services[0]["directions"] if services else ())
        if use["busy_frac"] > 1
    ]
    for service in services:
        most = service["max_users"]
        if most == 0 and service["first_slow"]:
            remarks.append(
                f"{service['name']}: {service['first_slow']} misses its target with one user; "
                "fewer users do not help, other changes may (linkfit advise)"
            )
        elif most is not None and most < service["n_users"]:
            over = service["n_users"] - most
            remarks.append(f"{service['name']}: {over} too many now, for {service['first_slow']}")
        for use in service["directions"]:
            asked = use["others_frac"] + (most or 0) * use["one_user_frac"]
            if most and asked > 1:
                remarks.append(
                    f"{service['name']}: {most} users ask for {format_share(asked)} of the link "
                    f"{use['direction']}; what the hour leaves over waits into the next"
                )
        for task in service["tasks"]:
            if task["refused"]:
                remarks.append(f"{service['name']}, {task['name']}: {task['refused']}")
            if task["unmeasured"]:
                remarks.append(
                    f"{service['name']}, {task['name']}: nothing is known, "
                    f"{task['unmeasured']} was never measured"
                )
    return remarks


def _curve(service: Record, task: Record) -> "list[RenderableType]":
    """Time against the number of users, and how busy each direction is."""
    ways = [use["direction"] for use in service["directions"]]
    listing = Listing(
        columns=(
            Column(heading="with", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="90 % interval", right=True),
            Column(heading="in time", right=True),
            *(Column(heading=f"{way} asked for", right=True) for way in ways),
        )
    )
    for point in task["curve"]:
        chance = point["prob_within_target"]
        listing.add(
            "1 user" if point["n_users"] == 1 else f"{point['n_users']} users",
            _seconds(point["p50_s"]), _seconds(point["p95_s"]),
            _interval(point), "" if chance is None else format_share(chance),
            *(format_share(point["busy_frac"][way]) for way in ways),
        )  # fmt: skip
    target = "no target" if task["target_s"] is None else f"target {_seconds(task['target_s'])}"
    title = f"{service['name']}: {task['name']} ({task['flow']}, {target})"
    return [heading(title), Text(), listing]


def _interval(point: Record) -> str:
    low, high = (
        _INFINITY if point[key] is None else point[key] for key in ("p95_low_s", "p95_high_s")
    )
    return between(low, high, "s")


def _tasks(tasks: Sequence[Record]) -> Listing:
    listing = Listing(
        columns=(
            Column(heading="task, flow", prose=True),
            Column(heading="target", right=True),
            Column(heading="at most", right=True),
            Column(heading="5 %", right=True),
            Column(heading="95 %", right=True),
        )
    )
    for task in tasks:
        target = "" if task["target_s"] is None else _seconds(task["target_s"])
        limits = ("?", "", "") if task["unmeasured"] else _limits(task)
        listing.add(f"{task['name']}, {task['flow']}", target, *limits)
    return listing


def _seconds(time_s: float | None) -> str:
    return amount(_INFINITY if time_s is None else time_s, "s")


def _notes(record: Record) -> list[str]:
    """How to read it."""
    hour = record["busy_hour_h"]
    when = "no slower hour of the day is known"
    if hour is not None:
        when = f"{hour:g} to {(hour + 1) % 24:g} h, {record['timezone']}"
    ways = "; ".join(DIRECTION_WORDS.values())
    return [
        f"busy hour: {when}; everybody else of the site stays on the link",
        "at most: users for whom 95 % of runs stay within the target; 5 % and 95 %: the same "
        "number on a link at the bad and at the good end of what was measured",
        "any: more users do not slow it, or it has no target that they could miss",
        f"fills first: with more users the mean of what is asked for exceeds the link. {ways}",
    ]
