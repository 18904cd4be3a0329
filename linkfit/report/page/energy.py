"""Power and energy: hours up by battery and panel, Wh of a day and of a GB, what would help."""

from typing import TYPE_CHECKING

from linkfit.advice.cautions import BATTERY_CARE, POWER_LIMITS
from linkfit.forecast.energy import GbEnergy, MonthHours, SiteEnergy, battery_alone_h
from linkfit.forecast.power import HOURS_PER_DAY
from linkfit.report.page.blocks import Block, Bullets, Paragraph, Section, Table
from linkfit.report.page.rounding import said, spread, with_interval
from linkfit.report.power_notes import power_notes
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.site.sun import MONTH_NAMES
from linkfit.units import format_share

if TYPE_CHECKING:
    from linkfit.report.page.material import Material

_LEAST_GAIN_H = 0.05
_MEAN_DAY = "mean day of the year"


def energy_section(found: "Material") -> Section | None:
    """Hours up, energy of a day and of a GB, with what to mind."""
    story = found.energy
    if story is None:
        return None
    blocks: list[Block] = [
        Bullets(items=tuple(_facts(story))),
        _month_table(story),
        Paragraph(text="Usual day: median of single days, sunny and dull, with their 5 % and 95 % "
                  "points. Mean: of the month, with its 90 % interval from year to year and panel "
                  "to panel. Whole days: chance that a day has no gap."),
        _gain_table(story),
        Bullets(items=(*power_notes(story.power), POWER_LIMITS, BATTERY_CARE)),
    ]  # fmt: skip
    return Section(key="energy", title="Power and energy", part="answers", blocks=tuple(blocks))


def _facts(story: SiteEnergy) -> list[str]:
    power, worst = story.power, story.worst
    whole_wh = HOURS_PER_DAY * power.load_w / power.output_frac
    alone_h = battery_alone_h(power)
    when = "on the mean day of the year"
    if worst.month is not None:
        when = f"in {_name(worst)}, the worst month,"
    converter = ""
    if power.output_frac < 1:
        converter = f" through a converter of {format_share(power.output_frac)}"
    lines = [
        f"{when} up for {_mean(worst)} a day",
        f"a usual day takes {spread(story.day_wh(worst))}; to run all day would take "
        f"{said(whole_wh, 'Wh', 3)} ({power.load_w:g} W for 24 h{converter})",
        f"a full battery alone carries the server for {said(alone_h, 'h', 3)} "
        f"({alone_h / HOURS_PER_DAY:.2g} days without sun)",
    ]
    return lines + [_gb(one) for one in story.energies]


def _gb(one: GbEnergy) -> str:
    way = DIRECTION_WORDS[one.direction]
    verb = "send" if one.direction == "up" else "receive"
    text = f"to {verb} a GB, link {way}: {spread(one.whole)} for the whole machine meanwhile"
    if one.added is not None:
        text += f"; {spread(one.added)} more than if it were up and idle"
    return text


def _name(month: MonthHours) -> str:
    return _MEAN_DAY if month.month is None else MONTH_NAMES[month.month - 1].capitalize()


def _mean(month: MonthHours) -> str:
    low, middle, high = (float(q) for q in month.mean.quantile([0.05, 0.5, 0.95]))
    return with_interval(middle, low, high, "h")


def _month_table(story: SiteEnergy) -> Table:
    rows = tuple(
        (
            _name(one),
            f"{one.sun_hours:.1f} h",
            spread(one.days),
            _mean(one),
            spread(story.day_wh(one)),
            format_share(one.prob_whole_day),
        )
        for one in story.months
    )
    return Table(
        caption="Hours up by battery and panel, and the energy that they take",
        header=("month", "full sun a day", "up on a usual day", "up in the mean",
                "energy of a usual day", "whole days"),
        rows=rows,
        numeric=(1, 2, 3, 4, 5),
    )  # fmt: skip


def _gain_table(story: SiteEnergy) -> Table:
    rows = []
    for one in story.gains:
        low, middle, high = (float(q) for q in one.gain.quantile([0.05, 0.5, 0.95]))
        text = with_interval(middle, low, high, "h") if middle >= _LEAST_GAIN_H else "no gain found"
        rows.append((one.what, text))
    return Table(
        caption=f"What would change it, each alone ({_name(story.worst)})",
        header=("change", "more hours up a day"),
        rows=tuple(rows),
        numeric=(1,),
    )
