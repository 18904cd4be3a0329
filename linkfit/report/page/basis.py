"""What the report stands on: measurements, assumptions, gaps, cautions, and its inputs."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.constraints import LEAST_SHARE_FRAC
from linkfit.forecast.data_use import CYCLE_SIGMA, PROTOCOL_FACTOR, RATE_SIGMA, SIZE_SIGMA
from linkfit.forecast.plan_use import DAY_COV
from linkfit.forecast.task_times import BROWSER_LANES
from linkfit.link.daily import UNMEASURED_SIGMA
from linkfit.report.page.blocks import Block, Bullets, Listed, Paragraph, Section, Table
from linkfit.report.page.inputs import Inputs
from linkfit.report.page.material import measured
from linkfit.report.page.rounding import said, stated
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_count, format_share

if TYPE_CHECKING:
    from linkfit.report.page.material import Material

_YEAR_DAYS = 365
_DAY_S = 86400.0
_NORMAL_95 = 1.645


def measurements_section(found: "Material", inputs: Inputs) -> Section:
    """How much was measured, when, from which files, and what was noticed in them."""
    rows = []
    longest_days = 0.0
    for way in measured(found.link):
        model = found.link.direction(way)
        starts = model.runs.start_s[np.isfinite(model.runs.start_s)]
        dates, n_days = "no clock", "not known"
        if starts.size:
            dates = f"{_day(starts.min())} to {_day(starts.max())}"
            n_days = str(model.daily.n_days)
            longest_days = max(longest_days, float(np.ptp(starts)) / _DAY_S)
        rows.append((DIRECTION_WORDS[way], str(model.n_tests), said(model.measured_s, "s"), dates,
                     n_days))  # fmt: skip
    blocks: list[Block] = [
        Table(
            caption="Measurements of the rate",
            header=("direction", "runs", "measured", "dates (UTC)", "days with any"),
            rows=tuple(rows),
            numeric=(1, 2, 4),
        )
    ]
    if longest_days < _YEAR_DAYS:
        blocks.append(
            Paragraph(
                text=f"The record spans {longest_days:.0f} days, less than a year: seasons, other "
                "crowds and changes of the carrier are not in it, and the intervals do not hold "
                "them."
            )
        )
    if inputs.sources:
        blocks.append(
            Table(
                caption="Files that were read",
                header=("file", "format", "SHA-256"),
                rows=tuple((one.name, one.format, one.sha256 or "not kept")
                           for one in inputs.sources),
            )
        )  # fmt: skip
    notes = [f"{finding.source}: {finding.text}" for finding in found.link.findings]
    title = (
        "Noticed in the data: " if notes else "Nothing that may mislead was noticed in the data."
    )
    blocks.append(Paragraph(text=title))
    if notes:
        blocks.append(Bullets(items=tuple(notes)))
    return Section(key="measurements", title="What was measured", part="evidence",
                   blocks=tuple(blocks))  # fmt: skip


def _day(time_s: float) -> str:
    return datetime.fromtimestamp(float(time_s), UTC).date().isoformat()


def assumptions_section(found: "Material") -> Section:
    """Everything that was taken, not measured: who says so, and where it comes from."""
    rows = [*_stated_rows(found), *_house_rows(found)]
    tasks = [
        (f"{service.name}: {task.name}",
         f"{task.n_requests} x {said(task.size.median_bytes, 'bytes')}, spread "
         f"{task.size.spread:.3g}, {said(task.per_user_day, '')} a user and day",
         "site file" if task.source == "site file" else "kind of service", task.source)
        for service in found.site.services for task in service.tasks
    ]  # fmt: skip
    blocks: list[Block] = [
        Table(
            caption="What was assumed",
            header=("assumption", "value", "owner", "source"),
            rows=tuple(rows),
        )
    ]
    if tasks:
        blocks.append(
            Table(
                caption="What each task was taken to be: requests, size of each, how often",
                header=("task", "value", "owner", "source"),
                rows=tuple(tasks),
            )
        )
    blocks.append(
        Paragraph(
            text="Intervals: each number comes from many possible futures of the link, drawn by a "
            "block bootstrap of what was measured (Politis and Romano 1994); the 90 % interval of "
            "a number is its spread over draws of what is not known of the link, less what chance "
            "explains."
        )
    )
    return Section(key="assumptions", title="Assumptions", part="evidence", blocks=tuple(blocks))


def _stated_rows(found: "Material") -> list[tuple[str, str, str, str]]:
    plan, path = found.site.plan, found.site.path
    cap = "none" if plan.cap_bytes is None else stated(plan.cap_bytes, "bytes")
    rows = [
        ("cap of the data plan", f"{cap}, {plan.counted} counted", "site file", "site file"),
        ("way to the server", path.entry, "site file", "site file"),
        ("users on the same link", format_share(path.same_link_share_frac), "site file",
         "site file"),
    ]  # fmt: skip
    if path.body_limit_bytes is not None:
        limit = stated(path.body_limit_bytes, "bytes")
        rows.append(("largest request the path takes", limit, "site file", "site file"))
    hours = found.site.hours
    if hours.power is not None:
        rows.append(("power", "battery and panel, by the site file's figures", "site file",
                     "site file"))  # fmt: skip
    return rows


def _within(sigma: float) -> str:
    """What a logarithm known to `sigma` means for the number itself."""
    return f"nine in ten within a factor of {math.exp(_NORMAL_95 * sigma):.1f}"


def _house_rows(found: "Material") -> list[tuple[str, str, str, str]]:
    guess = "common practice, to be replaced by counting"
    return [
        ("how well a stated number a day is known", _within(RATE_SIGMA),
         "linkfit", guess),
        ("how well a stated size is known", _within(SIZE_SIGMA), "linkfit", guess),
        ("how much billing cycles differ", _within(CYCLE_SIGMA), "linkfit", guess),
        ("how much days differ", f"standard deviation {DAY_COV:g} of the mean", "linkfit", guess),
        ("set-up and TLS on top of headers and tunnel", f"{PROTOCOL_FACTOR:g} times", "linkfit",
         "arithmetic on headers"),
        ("how much hours of the day that were not measured differ", _within(UNMEASURED_SIGMA),
         "linkfit", guess),
        ("requests a browser has under way at once", f"{BROWSER_LANES}", "linkfit",
         "common practice"),
        ("share that busy services leave to a backlog",
         f"at least {format_share(LEAST_SHARE_FRAC)}", "linkfit", "judgement of this project"),
        ("growth", "none: users and habits stay as the site file says", "linkfit",
         "the users figure and the sliders show more users"),
        ("loss of single packets", "what probes lost is taken as outages, which the rates hold",
         "linkfit", f"{format_share(found.link.loss_frac)} of probes lost"),
    ]  # fmt: skip


def missing_section(found: "Material") -> Section:
    """What was not measured and what it would cost to."""
    missing = list(found.advice.before.missing)
    latency = found.link.latency
    if latency is not None and latency.loaded_rtts_s is None:
        missing.append(
            "round trips while the link is busy were never measured: probe beside a 10 s test, "
            "1.25 MB per Mbit/s"
        )
    power = found.site.hours.power
    if power is None:
        missing.append("energy: the site file names no battery or panel, so no Wh are told")
    blocks: tuple[Block, ...] = (
        Bullets(items=tuple(missing)) if missing else Paragraph(text="Nothing that would change "
                                                                "the answers is known to be "
                                                                "missing."),
    )  # fmt: skip
    return Section(key="missing", title="What was not measured, and what it would cost",
                   part="answers", blocks=blocks)  # fmt: skip


def cautions_section(cautions: Sequence[str], notes: Sequence[str]) -> Section:
    """What the reader must know before relying on any of it."""
    blocks: list[Block] = [Bullets(items=tuple(cautions))]
    if notes:
        blocks += [Paragraph(text="How to read the figures:"), Bullets(items=tuple(notes))]
    return Section(key="cautions", title="Before you rely on this", part="answers",
                   blocks=tuple(blocks))  # fmt: skip


def inputs_section(inputs: Inputs) -> Section:
    """What makes the same report again."""
    start = "none: deadlines were not judged" if inputs.start is None else inputs.start.isoformat()
    rows = [
        ("linkfit", inputs.version),
        ("seed", str(inputs.seed)),
        ("first day of the backlogs", start),
        ("site file, SHA-256", inputs.site_sha256),
        ("fitted link, SHA-256", inputs.link_sha256),
        *((f"set beside the file ({n})", text) for n, text in enumerate(inputs.settings, 1)),
    ]
    if inputs.earlier is not None:
        rows.append(
            ("compared with", f"the report of linkfit {inputs.earlier.version}, seed "
             f"{inputs.earlier.seed}, fitted link {inputs.earlier.link_sha256}")
        )  # fmt: skip
    blocks: tuple[Block, ...] = (
        Paragraph(
            text="The page holds the site file and the fitted link, which stands for "
            f"{format_count(len(inputs.sources), 'file')} of measurements. The same release makes "
            "the same numbers of them: linkfit report --from this-page.html -o again.html"
        ),
        Table(caption="Inputs", header=("input", "value"), rows=tuple(rows)),
        Listed(caption="Site file", text=inputs.site_text),
    )
    return Section(key="inputs", title="Inputs, to make this report again", part="evidence",
                   blocks=blocks)  # fmt: skip
