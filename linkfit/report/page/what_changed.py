"""The section that says what changed since an earlier report."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from linkfit.forecast.world_intervals import Estimate
from linkfit.report.page.answer_changes import (
    Moved,
    NumberChange,
    moved_settings,
    moved_verdicts,
    number_changes,
    other_hours,
)
from linkfit.report.page.answers import Answers, ToldNumber, or_never
from linkfit.report.page.blocks import Block, Bullets, Paragraph, Section, Table
from linkfit.report.page.rounding import said, share_range, with_interval
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_count

if TYPE_CHECKING:
    from linkfit.report.page.answers import ToldService

_MOST_ROWS = 40


def since_section(earlier: Answers | None, now: Answers) -> Section | None:
    """Verdicts that moved, settings that differ, numbers with whether they really changed."""
    if earlier is None:
        return None
    verdicts, settings = moved_verdicts(earlier, now), moved_settings(earlier, now)
    numbers = number_changes(earlier, now)
    blocks: list[Block] = [Bullets(items=tuple(_short(earlier, now, verdicts, settings, numbers)))]
    if verdicts:
        blocks.append(_verdict_table(earlier, now, verdicts))
    if settings:
        blocks.append(_setting_table(settings))
    if numbers:
        blocks += [_number_table(numbers), Paragraph(text=_READING)]
    return Section(key="since", title="What changed since the earlier report", part="answers",
                   blocks=tuple(blocks))  # fmt: skip


_READING = (
    "Each number with the 90 % interval on it. Really changed: what both reports leave open does "
    "not explain the difference, all numbers of a kind judged together (at most one false alarm "
    "in twenty such tables); otherwise it is not a real change. Both reports are taken as if they "
    "told nothing of each other, which is cautious where one holds the other's measurements. A "
    "setting that was changed moves its forecasts for certain, if perhaps by less than this "
    "shows: linkfit advise with --set says by how much on one link."
)


def _short(
    earlier: Answers,
    now: Answers,
    verdicts: Sequence[Moved],
    settings: Sequence[Moved],
    numbers: Sequence[NumberChange],
) -> list[str]:
    """The change in short, and what to mind with it."""
    real = [_called(one.now) for one in numbers if one.difference.real]
    n_real = len(real)
    told = f" ({'; '.join(real)})" if real else ""
    lines = [
        "no verdict moved" if not verdicts else f"{format_count(len(verdicts), 'verdict')} moved",
        f"really changed: {n_real} of {format_count(len(numbers), 'number')}{told}",
        "the site file and what is set beside it say the same" if not settings
        else f"{format_count(len(settings), 'setting')} of the site "
        + ("differs" if len(settings) == 1 else "differ"),
        *_records(earlier, now),
    ]  # fmt: skip
    if earlier.start is not None and now.start is not None and earlier.start != now.start:
        lines.append(
            f"backlogs begin on {now.start}, on {earlier.start} then: the sun of the month and "
            "the days left of the plan's cycle move numbers too"
        )
    if earlier.site != now.site:
        lines.append(f"the earlier report is of another site by its name: {earlier.site}")
    if earlier.version != now.version:
        lines.append(
            f"the earlier report is of linkfit {earlier.version}, this one of {now.version}: part "
            "of a difference may be the program's"
        )
    lines += [
        f"{DIRECTION_WORDS[way]}: the two were mostly measured at different hours of the day, so "
        "that much of a difference may be the hour's"
        for way in other_hours(earlier, now)
    ]
    return lines


def _records(earlier: Answers, now: Answers) -> list[str]:
    """When the link was measured for either report."""
    if earlier.link_sha256 == now.link_sha256:
        return ["both stand on the same measurements"]
    before = {one.direction: one for one in earlier.records}
    lines = []
    for one in now.records:
        old = before.get(one.direction)
        if old is not None:
            lines.append(
                f"link {DIRECTION_WORDS[one.direction]} measured in "
                f"{format_count(old.n_tests, 'run')}{_days(old.first_day, old.last_day)} then, "
                f"{format_count(one.n_tests, 'run')}{_days(one.first_day, one.last_day)} now"
            )
    return lines


def _days(first_day: str | None, last_day: str | None) -> str:
    return "" if first_day is None or last_day is None else f" from {first_day} to {last_day}"


def _verdict_table(earlier: Answers, now: Answers, moved: Sequence[Moved]) -> Table:
    before = {one.name: one for one in earlier.services}
    after = {one.name: one for one in now.services}
    rows = tuple(
        (one.name, one.earlier, one.now, _in_time(before.get(one.name)),
         _in_time(after.get(one.name)))
        for one in moved[:_MOST_ROWS]
    )  # fmt: skip
    return Table(
        caption="Verdicts that moved, with the share in time of the slowest promised task as the "
        "site is" + _left(len(moved)),
        header=("service", "earlier", "now", "in time, earlier", "in time, now"),
        rows=rows,
        numeric=(3, 4),
    )


def _in_time(service: "ToldService | None") -> str:
    if service is None:
        return ""
    value, low, high = service.in_time_prob, service.low_prob, service.high_prob
    if value is None or low is None or high is None:
        return "not known"
    return share_range(Estimate(value=value, low=low, high=high))


def _setting_table(moved: Sequence[Moved]) -> Table:
    return Table(
        caption="Settings of the site that differ, as --set names them" + _left(len(moved)),
        header=("setting", "earlier", "now"),
        rows=tuple((one.name, one.earlier, one.now) for one in moved[:_MOST_ROWS]),
    )


def _left(n: int) -> str:
    return f" (the first {_MOST_ROWS} of {n})" if n > _MOST_ROWS else ""


def _number_table(numbers: Sequence[NumberChange]) -> Table:
    rows = tuple(
        (
            _called(one.now),
            _value(one.earlier),
            _value(one.now),
            _change(one),
            "yes" if one.difference.real else "no",
        )
        for one in numbers[:_MOST_ROWS]
    )
    return Table(
        caption="Numbers of both reports" + _left(len(numbers)),
        header=("number", "earlier", "now", "difference", "really changed"),
        rows=rows,
        numeric=(1, 2, 3),
    )


def _called(number: ToldNumber) -> str:
    """A number by its name: "season photos: done after, median"."""
    if number.kind == "link":
        return (
            f"link {DIRECTION_WORDS.get(number.name, number.name)}, median of the measured seconds"
        )
    if number.kind == "backlog":
        return f"{number.name}: done after, median"
    return f"{number.name}, {number.what}"


def _value(number: ToldNumber) -> str:
    value, low, high = (or_never(one) for one in (number.value, number.low, number.high))
    return with_interval(value, low, high, number.unit)


def _change(one: NumberChange) -> str:
    """The difference with its interval: "+0.4 Mbit/s (-0.3 to +1.1 Mbit/s)"."""
    if one.is_same:
        return "none"
    found = one.difference
    if math.isinf(found.value):
        return "to never" if found.value > 0 else "from never"
    value, low, high = (_signed(x, found.unit) for x in (found.value, found.low, found.high))
    return value if low == high == value else f"{value} ({low} to {high})"


def _signed(value: float, unit: str) -> str:
    if value == 0:
        return "none"
    sign = "+" if value > 0 else "-"
    return f"{sign}{'without end' if math.isinf(value) else said(abs(value), unit)}"
