"""The answer about caches for a person, from the record that --json prints."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.units import format_count, format_duration, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_SCOPES = {"browser": "each visitor's browser", "shared": "a cache in front of all visitors"}


def caching_text(record: Record) -> "list[RenderableType]":
    """What each lifetime saves, what a cache of a size would, and from what this is known."""
    if not record["tasks"]:
        return [
            heading(record["site"]),
            sentence("Nothing that this site sends may be kept by a cache: nothing to save."),
        ]
    return apart(
        [
            [heading(record["site"]), *bullets(record["what_if"])],
            _tasks(record),
            _lifetimes(record),
            _sizes(record),
            _log(record["log"]),
            _notes(record),
        ]
    )


def _tasks(record: Record) -> "list[RenderableType]":
    listing = Listing(
        columns=(
            Column(heading="may be kept", prose=True),
            Column(heading="by", prose=True),
            Column(heading="now for", right=True),
            Column(heading="up a day", right=True),
        )
    )
    for task in record["tasks"]:
        lifetime = task["lifetime_s"]
        listing.add(
            f"{task['service']}: {task['task']}",
            _SCOPES[task["scope"]],
            format_duration(lifetime) if lifetime else "not at all",
            format_size(task["bytes_per_day"]),
        )
    total = format_size(record["uplink_bytes_per_day"])
    return [
        heading("What caches may keep"),
        listing,
        sentence(f"Up (server to internet), all together and without any cache: {total} a day."),
    ]


def _lifetimes(record: Record) -> "list[RenderableType]":
    busy = record["uplink_mean_rate_bps"] is not None
    columns = [
        Column(heading="lifetime", prose=True),
        Column(heading="of it answered", right=True),
        Column(heading="of the uplink saved", right=True),
        Column(heading="a month", right=True),
    ]
    if busy:
        columns.append(Column(heading="uplink busy", right=True))
    listing = Listing(columns=tuple(columns))
    for saving in (record["present"], *record["lifetimes"]):
        lifetime = saving["lifetime_s"]
        cells: list[str | tuple[str, str]] = [
            "as the site is" if lifetime is None else format_duration(lifetime),
            (format_share(saving["p50_hit_frac"]), _between(saving, "hit_frac")),
            (format_share(saving["p50_saved_frac"]), _between(saving, "saved_frac")),
            format_size(saving["p50_saved_bytes_per_month"]),
        ]
        if busy:
            cells.append(format_share(saving["uplink_busy_frac"]))
        listing.add(*cells)
    parts: list[RenderableType] = [
        heading("What each lifetime saves, against no cache at all"), listing,
    ]  # fmt: skip
    if busy:
        rate = format_rate(record["uplink_mean_rate_bps"])
        parts.append(sentence(f"Uplink busy: of its mean rate of {rate}, over the whole day."))
    return parts


def _between(saving: Record, name: str) -> str:
    low, high = (format_share(saving[f"{level}_{name}"]) for level in ("p05", "p95"))
    return f"({low})" if low == high else f"({low} to {high})"


def _sizes(record: Record) -> "list[RenderableType]":
    if not record["cache_sizes"]:
        return []
    listing = Listing(
        columns=(
            Column(heading="room"),
            Column(heading="requests answered", right=True),
            Column(heading="by formula", right=True),
        )
    )
    for sized in record["cache_sizes"]:
        listing.add(
            format_size(sized["cache_bytes"]),
            (format_share(sized["p50_hit_frac"]), _between(sized, "hit_frac")),
            format_share(sized["formula_hit_frac"]),
        )
    explained = sentence(
        "The log played through a shared cache that drops what was used least lately, nothing "
        "ever going stale. By formula: Che's approximation, once the cache is full, all objects "
        "of the mean size."
    )
    return [heading("What a cache of some size would answer"), listing, explained]


def _log(log: Record | None) -> "list[RenderableType]":
    if log is None:
        return []
    lines = [
        f"{format_count(log['n_requests'], 'request')} for "
        f"{format_count(log['n_objects'], 'object')} from {log['n_clients']} "
        f"{'address' if log['n_clients'] == 1 else 'addresses'} in "
        f"{format_duration(log['span_s'])}",
        f"{format_share(log['again_frac'])} ask for what was asked for before, "
        f"{format_share(log['again_by_same_frac'])} from the same address",
    ]
    if log["median_gap_s"] is not None:
        lines.append(
            f"half of these within {format_duration(log['median_gap_s'])} of the time before, "
            f"with {log['median_distance']} different objects asked for since"
        )
    lines.append(
        f"left out of {log['n_lines']} lines: {log['n_unread']} not in Common Log Format, "
        f"{log['n_others']} that no cache answers (another method than GET, errors)"
    )
    return [heading("The log"), *bullets(lines)]


def _notes(record: Record) -> "list[RenderableType]":
    if record["told_by"] == "log":
        lines = [
            "in brackets: 90 % interval, what so few visitors leave open; the log's first requests "
            "find every cache empty, so a long run saves more",
            "an address may stand for several visitors, and a visitor may have several",
        ]
    else:
        lines = [
            "in brackets: 90 % interval; how often an object is asked for again is taken to be "
            "known to a factor of 2 (common practice); the server's own log tells better: --log",
        ]
    lines.append(
        "what only visitors may see (private, in HTTP) is kept by browsers alone: a cache in "
        "front of all must not hold it (RFC 9111, section 5.2.2.7)"
    )
    return [heading("Mind"), *bullets(lines)]
