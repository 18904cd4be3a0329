"""Typing, pages and calls beside a backup: the site's own, in three situations."""

from typing import TYPE_CHECKING

from linkfit.forecast.activities import felt
from linkfit.forecast.interactive_forecast import NO_LIMIT
from linkfit.report.interactive_text import FLOOR, limit_answer, second_line
from linkfit.report.page.blocks import Block, Bullets, Paragraph, Section, Table
from linkfit.report.page.rounding import interval, said, share_range
from linkfit.units import format_rate

if TYPE_CHECKING:
    from linkfit.forecast.interactive import Cell
    from linkfit.forecast.interactive_short import ShortInteractive
    from linkfit.report.page.material import Material

PAGE = "page load"
_LEVELS = (0.05, 0.5, 0.95)
_QUEUES = {
    "measured under load": "the queue before the link was measured under load",
    "common practice": "nobody measured round trips while the link was busy: the queue is a guess "
    "from common practice, so the answers are wide; probe while an upload runs",
}


def interactive_section(found: "Material") -> Section | None:
    """What a late packet spoils; None where the site has nothing of the kind."""
    short = found.interactive
    if short is None:
        return None
    good = "; ".join(dict.fromkeys(f"{cell.activity} {cell.good}" for cell in short.cells))
    blocks: list[Block] = [
        Bullets(items=tuple(_answers(short))),
        Table(
            caption="Interactive work while the server sends, with the 5 % and 95 % points of "
            "times and the 90 % interval of shares",
            header=("activity", "while", "time", "good moments", "verdict"),
            rows=tuple(_row(cell) for cell in short.cells),
            numeric=(2, 3),
        ),
        Paragraph(text=f"Good means: {good}. It fits where 95 % of moments are good in all of the "
                  "interval below the share."),
        Bullets(items=tuple(_notes(short, found.site.timezone))),
    ]  # fmt: skip
    return Section(key="interactive", title="Typing, pages and calls beside a backup",
                   part="answers", blocks=tuple(blocks))  # fmt: skip


def _answers(short: "ShortInteractive") -> list[str]:
    lines = [limit_answer(limit, short.cells) for limit in short.limits]
    if not any(0 < one.limit.value < float("inf") for one in short.limits):
        lines.append(
            f"a backup is looked at under {format_rate(short.limit_bps)}, with which common "
            "practice would start: 85 % of the rate that the link exceeds nine seconds in ten"
        )
    page = [cell for cell in short.cells if cell.activity == PAGE]
    lines += [
        f"page load beside a backup without a limit: {cell.verdict}, "
        f"{felt(float(cell.time.quantile(0.5)))} in the median"
        for cell in page
        if cell.situation == NO_LIMIT
    ]
    return lines


def _row(cell: "Cell") -> tuple[str, ...]:
    low, middle, high = (float(q) for q in cell.time.quantile(_LEVELS))
    time = f"{said(middle, 's')} ({interval(low, high, 's')})"
    what = felt(middle) if cell.activity == PAGE else second_line(cell)
    return (
        f"{cell.activity}, {what}",
        cell.situation,
        time,
        share_range(cell.share),
        cell.verdict,
    )


def _notes(short: "ShortInteractive", timezone: str) -> list[str]:
    when = "any time that was measured"
    if short.hour is not None:
        when = f"{short.hour} to {(short.hour + 1) % 24} h ({timezone}), the slowest hour"
    notes = [f"all of it holds for {when}; the other direction is taken as free of queues"]
    if short.queue_source in _QUEUES:
        notes.append(_QUEUES[short.queue_source])
    if short.is_floor:
        notes.append(FLOOR)
    notes.append("from few futures, so a little coarser than linkfit interactive, which also says "
                 "how long a backup takes under the limit")  # fmt: skip
    return notes
