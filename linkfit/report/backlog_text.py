"""Backlogs for a person: when each is done, what holds it back, and what would end it sooner."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.plain import harmless
from linkfit.report.wording import amount, between, between_chances, chance_text
from linkfit.units import SECONDS_PER_DAY, format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")
_LEAST_GAIN_DAYS = 1 / 24  # an easing that saves less than an hour, or a hundredth, gains nothing
_N_EASINGS = 3
_LEAST_GAIN_FRAC = 0.01
_HELD_WORDS = {"hours": "the hours in which it may run", "rate": "the rate of the link"}


def backlogs_text(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """When each backlog is done and what holds it back."""
    if not backlogs:
        return []
    columns = (
        Column(heading="backlog", prose=True),
        Column(heading="5 %", right=True),
        Column(heading="median", right=True),
        Column(heading="95 %", right=True),
        Column(heading="held back by", prose=True),
        Column(heading="by deadline", right=True),
    )
    judged = any(backlog["prob_by_deadline"] is not None for backlog in backlogs)
    listing = Listing(columns=columns if judged else columns[:-1])
    for backlog in backlogs:
        cells: list[str | tuple[str, str]]
        if backlog["unmeasured"]:
            cells = ["?", "?", "?", f"unknown: {backlog['unmeasured']} was never measured", "?"]
        else:
            held = _HELD_WORDS.get(backlog["binding"], backlog["binding"])
            cells = [
                *(_when(backlog, level) for level in ("p05", "p50", "p95")),
                str(backlog.get("refused") or held),
                _by_deadline(backlog),
            ]
        listing.add(backlog["name"], *(cells if judged else cells[:-1]))
    parts: list[RenderableType] = [heading("Backlogs, from their start to done"), listing]
    never = [f"{one['name']}: {one['why_never']}" for one in backlogs if one.get("why_never")]
    if never:
        parts += [Text(), *bullets(never)]
    return parts


def _by_deadline(backlog: Record) -> "str | tuple[str, str]":
    """The chance to be done in time, its 90 % interval below."""
    chance = backlog["prob_by_deadline"]
    if chance is None:
        return ""
    low, high = backlog["prob_by_deadline_low"], backlog["prob_by_deadline_high"]
    return chance_text(chance), f"({between_chances(low, high)})"


def answers_text(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """The backlogs with how sure their medians are, what would help, nights and waiting."""
    parts = [*backlogs_text(backlogs), *_remarks(backlogs), *easings_text(backlogs)]
    starts = {(one["start"], one["start_h"]) for one in backlogs if one["start"] is not None}
    for start, start_h in sorted(starts):
        parts.append(sentence(f"Counted from {start}, {_clock(start_h)}, local time."))
    assumed = dict.fromkeys(said for one in backlogs for said in one.get("assumed") or ())
    parts += bullets([f"assumed: {said}" for said in assumed])
    for backlog in backlogs:
        if backlog["nights"] is not None:
            parts += nights_text(backlog["nights"])
        if backlog["waiting"] is not None:
            parts += waiting_text(backlog["waiting"])
    return parts


def _when(backlog: Record, level: str) -> "str | tuple[str, str]":
    """Days and, where the start is known, the date below."""
    days = _days(backlog[f"{level}_days"])
    day = backlog.get(f"{level}_date")
    return (days, day) if day else days


def _remarks(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """What holds each back in how many futures, and how sure its median is."""
    lines = []
    for one in backlogs:
        if one["unmeasured"] or one["p50_days"] is None:
            continue
        shares = sorted(one["binding_frac"].items(), key=lambda pair: -pair[1])
        if len(shares) > 1:
            held = ", ".join(
                f"{_HELD_WORDS.get(name, name)} in {format_share(share)}" for name, share in shares
            )
            lines.append(f"{one['name']}: held back by {held} of futures")
        sure = between(_or_never(one["p50_low_days"]), _or_never(one["p50_high_days"]), "days")
        if " to " not in sure:
            continue
        lines.append(f"{one['name']}: the median itself lies within {sure} (90 %), since the link "
                     "was measured no more than this")  # fmt: skip
    return [Text(), *bullets(lines)] if lines else []


def easings_text(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """What each small easing alone would save, most first."""
    parts: list[RenderableType] = []
    for backlog in backlogs:
        easings = backlog.get("sooner") or []
        if not easings or backlog["unmeasured"]:
            continue
        gains = [one for one in easings if _gains(one, backlog)]
        title = harmless(f"What would end {backlog['name']} sooner, each alone (90 %)")
        lines = [f"{one['what']}: {_sooner(one)}" for one in gains]
        idle = [one["what"] for one in easings if not _gains(one, backlog)]
        if idle:
            lines.append(f"no gain found: {', '.join(idle)}")
        if backlog["binding"] == "hours" and not any(e.get("constraint") == "hours" for e in gains):
            lines.append(
                f"its hours hold it back by the wait until they open, counted from "
                f"{_clock(backlog['start_h'])} on: a start as they open takes that wait away, "
                "longer hours do not"
            )
        parts += [Text(), heading(title), *bullets(lines)]
    return parts


def easing_lines(backlogs: Sequence[Record]) -> list[str]:
    """One line a backlog: what each of the small easings that matter saves alone."""
    lines = []
    for one in backlogs:
        easings = [] if one["unmeasured"] else one.get("sooner") or []
        told = [
            f"{easing['what']}: {_sooner(easing)}"
            for easing in easings
            if _or_never(easing["p95_days"]) > _LEAST_GAIN_DAYS
        ]
        if told:
            lines.append(f"{one['name']}, each alone (90 %): {'; '.join(told[:_N_EASINGS])}")
    return lines


def _gains(easing: Record, backlog: Record) -> bool:
    saved = _or_never(easing["p50_days"])
    all_days = backlog["p50_days"]
    return bool(saved > _LEAST_GAIN_DAYS or (all_days and saved > _LEAST_GAIN_FRAC * all_days))


def _sooner(easing: Record) -> str:
    low, middle, high = (_or_never(easing[f"{level}_days"]) for level in ("p05", "p50", "p95"))
    if middle == _INFINITY:
        return f"done after {_days(easing['done_p50_days'])} instead of never"
    if low * SECONDS_PER_DAY < 1:  # "0 ms" would be a false precision
        return f"{amount(middle, 'days')} sooner (0 to {_most(high)})"
    if high == _INFINITY:
        return f"{amount(middle, 'days')} sooner ({amount(low, 'days')} to {_most(high)})"
    return f"{amount(middle, 'days')} sooner ({between(low, high, 'days')})"


def _most(days: float) -> str:
    return "done instead of never" if days == _INFINITY else amount(days, "days")


def nights_text(record: Record) -> "list[RenderableType]":
    """Will the first window do, and if not, how many does it take?"""
    hours = amount(record["length_h"] * 3600.0, "s")
    sure = between_chances(record["prob_first_low"], record["prob_first_high"])
    low, middle, high = (_nights(record[f"{level}_nights"]) for level in ("p05", "p50", "p95"))
    return [
        Text(),
        sentence(f"Chance that it is done within the first {hours}: "
                 f"{chance_text(record['prob_first'])} (90 %: {sure})."),
        sentence(f"Days of {hours} each that it takes: {middle} (90 %: {low} to {high})."),
    ]  # fmt: skip


def waiting_text(record: Record) -> "list[RenderableType]":
    """Is it worth waiting for the window?"""
    window = f"{_clock(record['window_start_h'])} to {_clock(record['window_end_h'])}"
    now, waited, later = (
        tuple(_days(record[which][f"{level}_days"]) for level in ("p50", "p05", "p95"))
        for which in ("now", "waited", "later")
    )
    lines = [
        "started now, in all its hours: {} (90 %: {} to {})".format(*now),
        "only from {}: {} (90 %: {} to {})".format(window, *waited),
        "waiting ends it later by {} (90 %: {} to {})".format(*later),
    ]
    fast = record["times_as_fast"]
    if fast is None:
        lines.append("no gain found: no daily pattern was measured on this link")
    else:
        gain = f"{fast['p50']:.2f} times as fast (90 %: {fast['p05']:.2f} to {fast['p95']:.2f})"
        found = "" if fast["p05"] > 1 else "; no gain found"
        lines.append(f"in these hours the link is {gain} as in the others{found}")
    n_unmeasured = record["n_unmeasured_hours"]
    if n_unmeasured:
        hours = "hour of it was" if n_unmeasured == 1 else "hours of it were"
        lines.append(f"{n_unmeasured} {hours} never measured: test then before you wait for it")
    return [Text(), heading("Is it worth waiting?"), *bullets(lines)]


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _nights(number: float | None) -> str:
    return "never" if number is None else f"{number:.0f}"


def _or_never(days: float | None) -> float:
    return _INFINITY if days is None else float(days)


def _days(days: float | None) -> str:
    return amount(_or_never(days), "days")
