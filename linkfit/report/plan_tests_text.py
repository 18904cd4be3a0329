"""The tests still needed, for a person: how many, when, how long, at what cost."""

from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.units import format_count, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

_NAMES = {"median": "median", "p05": "5th percentile"}
_MOST_OF_CAP_FRAC = 0.02
_MOST_DAYS = 366  # of measuring that anybody would plan


def plan_tests_text(record: dict[str, Any]) -> "list[RenderableType]":
    """Lines and tables for the terminal, from `plan_tests_record`."""
    parts = [_head(record), _known(record)]
    if not record["reached"]:
        parts += [_needed(record), _when(record), _how(record)]
    return apart([*parts, _cost(record), _notes(record)])


def _head(record: dict[str, Any]) -> "list[RenderableType]":
    what = f"{_NAMES[record['of']]} within {format_share(record['width_frac'])}"
    if record["reached"]:
        return [
            heading(f"Reached: the {what}, at 95 %"),
            sentence("No further test is needed for this; weeks and seasons still change a link."),
        ]
    return [heading(f"Tests until the {what} is known, at 95 %")]


def _known(record: dict[str, Any]) -> "list[RenderableType]":
    listing = Listing(
        columns=(
            Column(heading="known now"), Column(heading="cells", right=True),
            Column(heading="estimate", right=True), Column(heading="95 % interval", right=True),
            Column(heading="off by up to", right=True),
        )
    )  # fmt: skip
    for one in record["directions"]:
        now = one["now"]
        if now is None:
            listing.add(one["direction"], "0", "-", "-", "-")
            continue
        listing.add(
            one["direction"], str(now["n_cells"]), format_rate(now["estimate_bps"]),
            f"{format_rate(now['low_bps'])} to {format_rate(now['high_bps'])}",
            format_share(now["width_frac"]),
        )  # fmt: skip
    return [
        listing,
        sentence(
            "A cell is one quarter of one day (six hours): tests of the same hours are too alike "
            "to count apart. Rates are payload, the mean of a cell."
        ),
    ]


def _needed(record: dict[str, Any]) -> "list[RenderableType]":
    listing = Listing(
        columns=(
            Column(heading="further cells"), Column(heading="5 %", right=True),
            Column(heading="median", right=True), Column(heading="95 %", right=True),
            Column(heading="tests", right=True),
        )
    )  # fmt: skip
    for one in record["directions"]:
        more = one["cells_more"]
        counts = (*(more[key] for key in ("p05", "p50", "p95")), one["tests_more"])
        listing.add(one["direction"], *map(str, counts))
    return [
        listing,
        sentence(
            f"tests: {record['tests_per_cell']} a cell, at the median. How many it takes depends "
            "on how much the link swings, which few tests tell: ask again as they come in."
        ),
    ]


def _when(record: dict[str, Any]) -> "list[RenderableType]":
    listing = Listing(
        columns=(
            Column(heading="part of the day"), Column(heading="days measured", right=True),
            Column(heading="days more", right=True), Column(heading="test at"),
        )
    )  # fmt: skip
    # what was never measured first
    for part in sorted(
        record["parts"], key=lambda part: (part["days_measured"], -part["days_more"])
    ):
        hours = f"{part['first_hour']}-{part['first_hour'] + 6} h"
        at = " and ".join(f"{hour}:00" for hour in part["at_hours"]) or "-"
        listing.add(
            f"{part['name']}, {hours}", str(part["days_measured"]), str(part["days_more"]), at
        )
    return [
        heading(f"When ({record['timezone']}): {format_count(record['n_days'], 'day')} at least"),
        listing,
    ]


def _how(record: dict[str, Any]) -> "list[RenderableType]":
    other = record["streams"][-1]
    if other == 1:
        streams = "1 stream each: one gets what several get"
    else:
        streams = f"one test with 1 stream, one with {other}"
        share = record["single_share_frac"]
        streams += (
            ": what several get together is not known yet"
            if share is None
            else f": one stream gets {format_share(share)} of what several get"
        )
    options = "" if other == 1 else f" --streams 1 --streams {other}"
    return [
        heading("How"),
        *bullets(
            [
                f"{record['seconds']} s a test, {streams}",
                f"linkfit measure --server HOST --budget SIZE --seconds {record['seconds']}"
                f"{options}",
            ]
        ),
    ]


def _cost(record: dict[str, Any]) -> "list[RenderableType]":
    lines: list[RenderableType] = []
    if not record["reached"]:
        cost = record["cost"]
        lines.append(
            sentence(
                "All directions asked for, with headers: "
                f"{format_size(cost['p50_bytes'])} (90 % between "
                f"{format_size(cost['p05_bytes'])} and "
                f"{format_size(cost['p95_bytes'])})."
            )
        )
    budget, cap = record["budget"], record["cap"]
    if budget is not None and not record["reached"]:
        widths = ", ".join(
            f"{way} {'unknown' if width is None else format_share(width)}"
            for way, width in budget["width_frac"].items()
        )
        lines.append(
            sentence(
                f"{format_size(budget['budget_bytes'])} pay for "
                f"{format_count(budget['cells'], 'cell')}; to expect then, off by up to: {widths}."
            )
        )
    if cap is not None and not record["reached"]:
        text = f"That is {format_share(cap['share_frac'])} of {format_size(cap['cap_bytes'])}."
        if cap["share_frac"] > _MOST_OF_CAP_FRAC:
            text += " Measuring should take 2 % of a plan at most: "
            days = cap["days_at_2_percent"]
            if days <= _MOST_DAYS:
                text += f"spread it over {format_count(days, 'day')}, or accept a wider interval."
            else:  # nobody measures for years
                text += "accept a wider interval (--width), or say what it may cost (--budget)."
        lines.append(sentence(text))
    return [heading("What it costs"), *lines] if lines else []


def _notes(record: dict[str, Any]) -> "list[RenderableType]":
    notes = []
    for one in record["directions"]:
        now = one["now"]
        if now is not None and now["rank_low_bps"] is not None:
            notes.append(
                f"{one['direction']}: by ranks, which assume nothing, the median lies between "
                f"{format_rate(now['rank_low_bps'])} and {format_rate(now['rank_high_bps'])}"
            )
        if one["cells_needed"]["without_model"]:
            notes.append(
                f"{one['direction']}: {one['cells_needed']['without_model']} cells are the fewest "
                "of which the slowest lies below the 5th percentile at 95 %, whatever the law"
            )
        if one["n_outages"]:
            notes.append(
                f"{one['direction']}: {format_count(one['n_outages'], 'cell')} in which nothing "
                "passed left out: outages are another question"
            )
    return [heading("Mind"), *bullets(notes)] if notes else []
