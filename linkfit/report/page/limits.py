"""What the data plan, the backlogs and the busy hour allow: the answers after the verdicts."""

import math
from typing import TYPE_CHECKING

import numpy as np

from linkfit.report.page.blocks import (
    Block,
    Bullets,
    Calculator,
    Paragraph,
    Picture,
    Section,
    Table,
)
from linkfit.report.page.load_figures import burn_down_figure, fan_figure
from linkfit.report.page.material import ACT_FRAC, PLAN_FRAC, measured
from linkfit.report.page.rounding import interval, said, share_range, spread, stated, with_interval
from linkfit.report.wording import DIRECTION_WORDS, between_chances, chance_text
from linkfit.units import format_count, format_share

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.world_intervals import Estimate
    from linkfit.report.page.material import BacklogStory, Material, Use

_MIDDLE, _END = 0.5, 0.95
_MOST_DRAWN = 6  # backlogs with a figure of their own: the page stays small


def data_section(found: "Material") -> Section:
    """Data of a cycle against the plan, day by day."""
    data = found.data.data
    lines = [f"wanted in a billing cycle: {spread(data.use)}"]
    if data.cap_bytes is None:
        lines.append("the plan has no cap")
    else:
        chance = found.data.chance
        low, high = (chance.prob_over_low, chance.prob_over_high) if chance else (0.0, 1.0)
        sure = "" if format_share(low) == format_share(high) else (
            f" ({format_share(low).removesuffix(' %')} to {format_share(high)})")  # fmt: skip
        lines.append(
            f"the cap is {stated(data.cap_bytes, 'bytes')}; chance to want more: "
            f"{format_share(data.prob_over_cap or 0.0)}{sure}"
        )
        if data.runs_out is not None and data.runs_out.prob_within(1e12) > 0:
            lines.append(f"the plan runs out after {_when(data.runs_out)} of the cycle")
        sizes = found.data.sizes
        lines.append(
            "a plan that runs out less than once in twenty cycles has at least "
            + with_interval(
                sizes.exact_bytes, sizes.exact_low_bytes, sizes.exact_high_bytes, "bytes"
            )
        )
    lines.append(f"of that nobody asked for {spread(found.data.unasked)}")
    after = found.advice.after.data
    if found.advice.chosen:
        over = "" if after.prob_over_cap is None else (
            f", chance to want more than the cap {format_share(after.prob_over_cap)}")  # fmt: skip
        lines.append(f"with the changes: {spread(after.use)}{over}")
    picture = Picture(
        name="data-fan",
        figure=fan_figure(found.fan),
        caption="Data wanted by the end of each day of a billing cycle, as the plan counts it",
        finding=_fan_finding(found),
    )
    return Section(key="data", title="Data of a billing cycle", part="answers",
                   blocks=(Bullets(items=tuple(lines)), picture))  # fmt: skip


def _when(days: "Forecast") -> str:
    """Days with their interval, never where a future lasts."""
    low, middle, high = (float(q) for q in days.quantile([0.05, 0.5, 0.95]))
    if math.isinf(middle):
        return f"{said(low, 'days')} at the earliest, in most cycles not at all"
    if math.isinf(high):
        return f"{said(middle, 'days')} ({said(low, 'days')} to not at all)"
    return f"{said(middle, 'days')} ({interval(low, high, 'days')})"


def _fan_finding(found: "Material") -> str:
    data = found.data.data
    half = found.fan.used[len(found.fan.used) // 2]
    text = f"By the middle of the cycle {spread(half)} are wanted, by its end {spread(data.use)}."
    if data.cap_bytes is None:
        return f"{text} The plan has no cap."
    crossed = next(
        (end for end, used in zip(found.fan.day_ends_days, found.fan.used, strict=True)
         if float(used.quantile(_MIDDLE)) > data.cap_bytes), None,
    )  # fmt: skip
    if crossed is None:
        return f"{text} The median stays below the cap of {stated(data.cap_bytes, 'bytes')}."
    cap = stated(data.cap_bytes, "bytes")
    return f"{text} The median passes the cap of {cap} on day {crossed:.0f}."


def backlog_section(found: "Material") -> Section | None:
    """Each backlog: when it is done, what holds it back, what would end it sooner."""
    if not found.backlogs:
        return None
    blocks: list[Block] = []
    for number, story in enumerate(found.backlogs, start=1):
        blocks += _story(story, number)
    return Section(key="backlogs", title="Backlogs, and what holds them back", part="answers",
                   blocks=tuple(blocks))  # fmt: skip


def _story(story: "BacklogStory", number: int) -> list[Block]:
    one = story.forecast
    name = one.backlog.name
    if one.unmeasured:
        return [Paragraph(text=f"{name}: nothing is known, {one.unmeasured} was never measured.")]
    lines = [f"{name}: done after {_when(one.days)} from its start"]
    low, high = one.days.quantile_interval(_MIDDLE)
    if interval(low, high, "days") != said(low, "days"):
        lines.append(
            f"the median itself lies within {interval(low, high, 'days')} (90 %), since the link "
            "was measured no more than this"
        )
    if one.refused:
        lines.append(f"the path cannot carry all of it: {one.refused}")
    if one.why_never:
        lines.append(one.why_never)
    shares = sorted(one.binding_frac.items(), key=lambda pair: -pair[1])
    held = ", ".join(f"{what} in {format_share(share)} of futures" for what, share in shares)
    lines.append(f"held back by {held}")
    if one.by_deadline is not None:
        sure = between_chances(one.by_deadline.low_prob, one.by_deadline.high_prob)
        lines.append(
            f"chance to be done by {one.backlog.deadline}: "
            f"{chance_text(one.by_deadline.prob)} ({sure})"
        )
    blocks: list[Block] = [Bullets(items=tuple(lines))]
    if story.burn is not None and number <= _MOST_DRAWN:
        blocks.append(
            Picture(
                name=f"burn-down-{number}",
                figure=burn_down_figure(story.burn),
                caption=f"What is left of {name} as time passes",
                finding=f"Half of it is gone after {_when(story.burn.days[4])}, all of it after "
                f"{_when(story.burn.days[-1])}.",
            )
        )
    if one.easings:
        rows = tuple(
            (easing.what, easing.constraint, _sooner(easing.sooner), _when(easing.days))
            for easing in one.easings
        )
        blocks.append(
            Table(
                caption=f"What each small easing alone would save of {name} (shadow prices)",
                header=("easing", "constraint", "sooner by", "then done after"),
                rows=rows,
                numeric=(2, 3),
            )
        )
    return blocks


def _sooner(sooner: "Forecast") -> str:
    low, middle, high = (float(q) for q in sooner.quantile([0.05, 0.5, 0.95]))
    if math.isinf(middle):
        return "done instead of never"
    if high * 86400 < 1:
        return "no gain found"
    low = 0.0 if low * 86400 < 1 else low  # less than a second would be a false precision
    middle_text = "0" if middle * 86400 < 1 else said(middle, "days")
    if math.isinf(high):
        least = "0" if not low else said(low, "days")
        return f"{middle_text} ({least} to done instead of never)"
    return f"{middle_text} ({interval(low, high, 'days')})"


def headroom_section(found: "Material") -> Section:
    """The busy hour: how full each direction is, what is left, and how long its queue is."""
    when = "any time that was measured, since no slower hour of the day is known"
    if found.hour is not None:
        when = f"{found.hour:g} to {(found.hour + 1) % 24:g} h ({found.site.timezone})"
        when += _measured_on(found, int(found.hour))
    rows = tuple(_use_row(use) for use in found.uses)
    blocks: list[Block] = [
        Paragraph(
            text=f"Busy hour: {when}. Utilisation is what the site asks for in the mean, of what "
            f"the link carries in the mean; common practice is to plan for more from "
            f"{format_share(PLAN_FRAC)} on and to act from {format_share(ACT_FRAC)} on."
        )
    ]
    if rows:
        blocks.append(
            Table(
                caption="Utilisation of the link in the busy hour, and the headroom left",
                header=("direction", "carries", "utilisation",
                        f"headroom to {format_share(PLAN_FRAC)}, of the load",
                        f"headroom to {format_share(ACT_FRAC)}, of the load"),
                rows=rows,
                numeric=(1, 2, 3, 4),
            )
        )  # fmt: skip
    blocks.append(_saturation(found))
    return Section(key="busy-hour", title="The busy hour", part="answers", blocks=tuple(blocks))


def _measured_on(found: "Material", hour: int) -> str:
    """On how many days each direction was measured in that hour."""
    days = [
        f"{way} on {format_count(int(found.link.direction(way).daily.days[hour]), 'day')}"
        for way in measured(found.link)
    ]
    return f", the slowest of those measured in which the site is up ({', '.join(days)})"


def _use_row(use: "Use") -> tuple[str, ...]:
    rate = with_interval(use.rate.value, use.rate.low, use.rate.high, "bit/s")
    return (
        DIRECTION_WORDS[use.direction],
        rate,
        share_range(use.busy),
        *(_headroom(use.busy, limit) for limit in (PLAN_FRAC, ACT_FRAC)),
    )


def _headroom(busy: "Estimate", limit: float) -> str:
    """How many times today's load fits under `limit`."""
    if busy.value <= 0:
        return "no load"
    value, low, high = (limit / max(share, 1e-9) for share in (busy.value, busy.high, busy.low))
    if value >= 100:
        return "more than 100 times"
    return with_interval(value, low, high, "times")


def _saturation(found: "Material") -> Paragraph:
    """What a full queue adds to a round trip, apart from how full the link is."""
    latency = found.link.latency
    if latency is None or latency.loaded_rtts_s is None:
        return Paragraph(
            text="Saturation (what a queue adds to a round trip while the link is busy) was not "
            "measured."
        )
    levels = np.linspace(0, 1, latency.idle_rtts_s.size)
    idle_s = float(np.interp(_MIDDLE, levels, latency.idle_rtts_s))
    busy_s = np.interp([_MIDDLE, _END], np.linspace(0, 1, latency.loaded_rtts_s.size),
                       latency.loaded_rtts_s)  # fmt: skip
    return Paragraph(
        text=f"Saturation, apart from that: while the link is busy a queue adds "
        f"{said(max(float(busy_s[0]) - idle_s, 0.0), 's')} to a round trip of "
        f"{said(idle_s, 's')} in the median, {said(max(float(busy_s[1]) - idle_s, 0.0), 's')} in "
        "one of twenty."
    )


def calculator_section(found: "Material") -> Section | None:
    """Sliders over the grid."""
    if found.grid is None:
        return None
    blocks = (
        Paragraph(
            text=f"Move a slider to ask about another payload, another number of users of "
            f"{found.grid.service} or another stored size of its photos. The answers hold for the "
            "busy hour, with all other services as they are; first the median with its 5 % and "
            "95 % points, then the time that 19 of 20 stay within with its 90 % interval."
        ),
        Calculator(grid=found.grid),
    )
    return Section(key="calculator", title="Try other numbers", part="answers", blocks=blocks)
