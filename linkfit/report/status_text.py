"""The state of a record for a person: does it run, what is used, has the link changed."""

from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.plain import harmless
from linkfit.units import (
    format_count,
    format_duration,
    format_rate,
    format_share,
    format_size,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

_FRESH_S = 60.0  # a recorder writes every 10 s
_SILENT = ("started", "stopped")
_COUNTED = {"both": "both directions", "up": "up alone", "down": "down alone"}


def status_text(record: dict[str, Any], zone: tzinfo) -> "list[RenderableType]":
    """Lines and tables for the terminal, from `status_record`; times in `zone`."""
    say = _Times(zone)
    return apart([_head(record, say), _use(record, say), _link(record, say)])


class _Times:
    """Times as a person reads them, in one zone."""

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone

    def moment(self, text: str) -> datetime:
        return datetime.fromisoformat(text).astimezone(self._zone)

    def day(self, text: str | None) -> str:
        return "not in this cycle" if text is None else f"{self.moment(text):%a %-d %b %H:%M}"

    def date(self, text: str) -> str:
        return f"{self.moment(text):%-d %B %Y}"

    def age_s(self, record: dict[str, Any], key: str) -> float | None:
        if record[key] is None:
            return None
        return (self.moment(record["now"]) - self.moment(record[key])).total_seconds()


def _head(record: dict[str, Any], say: _Times) -> "list[RenderableType]":
    age_s = say.age_s(record, "last_sample")
    if age_s is None:
        state = "Nothing is recorded yet: the recorder writes every 10 s."
    elif age_s <= _FRESH_S:
        state = f"Recording: the last sample is {format_duration(max(age_s, 1.0))} old."
    else:
        state = (
            f"NOT RECORDING: the last sample is {format_duration(age_s)} old. Start linkfit record "
            "again; what passes meanwhile is a gap."
        )
    lines: list[RenderableType] = [
        heading(f"{harmless(record['store'])}, interface {harmless(record['interface'] or '?')}"),
        sentence(state),
    ]
    seen = [
        f"{name} {format_duration(max(age, 1.0))} ago"
        for name, key in (("last round trip", "last_round_trip"), ("last test", "last_test"))
        if (age := say.age_s(record, key)) is not None
    ]
    if record["first_sample"] is not None:
        seen.insert(0, f"recorded since {say.date(record['first_sample'])}")
    seen.append(f"{format_size(record['size_bytes'])} on disk")
    lines += bullets(["; ".join(seen)])
    events = [f"{kind}: {n:,}" for kind, n in record["events"].items() if kind not in _SILENT]
    if events:
        lines += bullets([f"gaps and faults until now, each counted once: {'; '.join(events)}"])
    return lines


def _use(record: dict[str, Any], say: _Times) -> "list[RenderableType]":
    use = record["use"]
    lines: list[RenderableType] = [
        heading(
            f"Use of the cycle {say.moment(use['cycle_begin']):%-d %b} to "
            f"{say.moment(use['cycle_end']):%-d %b}, at the interface"
        )
    ]
    listing = Listing(columns=(Column(heading="direction"), Column(heading="used", right=True)))
    listing.add("down (internet to server)", format_size(use["down_bytes"]))
    listing.add("up (server to internet)", format_size(use["up_bytes"]))
    listing.add("of both, tests by linkfit", format_size(use["tests_bytes"]))
    lines.append(listing)
    lines += bullets(
        [
            f"the counters were watched {format_share(use['watched_frac'])} of the cycle so far; "
            "what passed outside counts where the machine stayed on, and is missing else"
        ]
    )
    if use["cap_bytes"] is None:
        lines.append(sentence("No cap given: --cap or --site says when it will be used up."))
        return lines
    lines.append(sentence(_of_cap(use)))
    lines += _runs_out(use, say)
    return lines


def _of_cap(use: dict[str, Any]) -> str:
    share = format_share(use["counted_bytes"] / use["cap_bytes"])
    return (
        f"{format_size(use['counted_bytes'])} of {format_size(use['cap_bytes'])} used ({share}), "
        f"{_COUNTED[use['counted']]} counted."
    )


def _runs_out(use: dict[str, Any], say: _Times) -> "list[RenderableType]":
    if use["exhausted"] is None:
        text = (
            f"{format_count(use['n_whole_days'], 'whole day')} seen: too few for a date, 3 needed."
        )
        return [sentence(text)]
    if use["counted_bytes"] >= use["cap_bytes"]:
        return [sentence("The cap is used up.")]
    listing = Listing(
        columns=(
            Column(heading="if days stay as they were"),
            *(Column(heading=name, right=True) for name in ("5 %", "median", "95 %")),
        )
    )
    dates = [say.day(use["exhausted"][key]) for key in ("p05", "p50", "p95")]
    sizes = [format_size(use["cycle_bytes"][key]) for key in ("p05", "p50", "p95")]
    listing.add("cap used up on", *dates)
    listing.add("use of the whole cycle", *sizes)
    days = format_count(use["n_whole_days"], "whole day")
    return [
        listing,
        sentence(
            f"Chance that the cap is used up before the cycle ends: "
            f"{format_share(use['exhausted_prob'])}, from the use of {days}."
        ),
    ]


def _link(record: dict[str, Any], say: _Times) -> "list[RenderableType]":
    lines: list[RenderableType] = [heading("Has the link changed?")]
    told = [series for series in record["changes"] if series["changed"] is not None]
    lines += bullets([_series(series, say) for series in record["changes"]])
    if told:
        lines.append(
            sentence(
                f"Daily medians; {record['false_alarm_prob'] * 100:.0f} % of looks at a link that "
                "never changed say that one did."
            )
        )
    if record["refit"]:
        since = say.date(record["refit_since"])
        lines.append(
            sentence(
                f"Fit the link again from what was measured since {since}: older measurements "
                "tell of another link."
            )
        )
    elif told:
        lines.append(sentence("No reason to fit the link again."))
    return lines


def _series(series: dict[str, Any], say: _Times) -> str:
    name = series["name"]
    days = format_count(series["n_days"], "day")
    if series["changed"] is None:
        return f"{name}: {days} measured, too few to tell; 16 are needed"
    if not series["changed"]:
        return f"{name}: no change in {days} beyond chance (p = {series['p']:.2g})"
    show = format_rate if series["unit"] == "bit/s" else format_duration
    before, after = (_median(series[side], show) for side in ("before", "after"))
    return f"{name}: changed about {say.date(series['since'])}, from {before} to {after}"


def _median(three: dict[str, float | None], show: Any) -> str:
    low, middle, high = (
        "no answer" if three[key] is None else show(three[key]) for key in ("p05", "p50", "p95")
    )
    return f"{middle} ({low} to {high})"
