"""The evidence about the link: capacity, its week, how well the model fits, round trips."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.report.link_curves import (
    autocorrelation_curve,
    model_rates_bps,
    quantile_curve,
    spread_curve,
)
from linkfit.report.link_figures import (
    autocorrelation_figure,
    quantile_figure,
    spread_figure,
    time_series_figure,
)
from linkfit.report.page.blocks import Block, Bullets, Paragraph, Picture, Section, Table
from linkfit.report.page.link_curve_figures import distribution_figure, latency_figure
from linkfit.report.page.material import measured
from linkfit.report.page.rounding import said, with_interval
from linkfit.report.page.week_map import DAY_NAMES, WeekMap, week_figure, week_map
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_count, format_rate, format_share

if TYPE_CHECKING:
    from linkfit.forecast.capacity import AverageRate, DirectionCapacity, Moment
    from linkfit.link.futures import DirectionModel
    from linkfit.report.link_curves import Comparison
    from linkfit.report.page.material import Material

_LEVELS = (0.05, 0.5, 0.95)


def capacity_section(found: "Material", way: str) -> Section:
    """One direction of the link: what it carries, when, and how well the model has it."""
    model = found.link.direction(way)
    capacity: DirectionCapacity | None = getattr(found.capacity, way)
    assert capacity is not None
    blocks: list[Block] = [
        Paragraph(
            text=f"Measured for {said(model.measured_s, 's')} in "
            f"{format_count(model.n_tests, 'run')}. Rates hold the headers of the IP layer."
        )
    ]
    if capacity.at_least_bps is not None:
        blocks.append(
            Paragraph(
                text=f"At least {format_rate(capacity.at_least_bps, 2)}: nothing tried for more, "
                "so how much more the link can carry was not measured."
            )
        )
    blocks += [_moment_table(moment, capacity) for moment in capacity.moments]
    if capacity.no_slowest_hour:
        blocks.append(Paragraph(text=f"No slowest hour: {capacity.no_slowest_hour}."))
    blocks += _pictures(found, model, way)
    return Section(key=f"link-{way}", title=f"Link {DIRECTION_WORDS[way]}", part="evidence",
                   blocks=tuple(blocks))  # fmt: skip


def _moment_table(moment: "Moment", capacity: "DirectionCapacity") -> Table:
    when = "At any time that was measured"
    if moment.hour is not None:
        hour = int(moment.hour)
        when = f"In the slowest measured hour, {hour} to {hour + 1} h ({capacity.timezone})"
    rows = tuple(
        (_window(average.window_s), *(_rate(average, level) for level in _LEVELS))
        for average in moment.averages
    )
    return Table(
        caption=f"{when}: averages, with the 90 % interval of each",
        header=("average over", "1 of 20 is below", "half is below", "19 of 20 are below"),
        rows=rows,
        numeric=(1, 2, 3),
    )


def _window(window_s: int) -> str:
    return f"{window_s} s" if window_s < 60 else f"{window_s // 60} min"


def _rate(average: "AverageRate", level: float) -> str:
    low, high = average.rate.quantile_interval(level)
    return with_interval(float(average.rate.quantile(level)), low, high, "bit/s")


def _pictures(found: "Material", model: "DirectionModel", way: str) -> list[Block]:
    """The week, then measured against the model in four views."""
    runs = model.runs
    week = week_map(model)
    blocks: list[Block] = []
    if week.is_measured.any():
        blocks.append(
            Picture(name=f"{way}-week", figure=week_figure(week, way), finding=_week_finding(week),
                    caption="Capacity by hour of the day and day of the week")
        )  # fmt: skip
    blocks.append(
        Picture(name=f"{way}-time-series", figure=time_series_figure(runs, way),
                caption="Rates as measured",
                finding=f"Half of all seconds are below "
                f"{format_rate(float(np.median(runs.rates_bps)), 2)}, one in twenty below "
                f"{format_rate(float(np.quantile(runs.rates_bps, 0.05)), 2)}.")
    )  # fmt: skip
    rates_bps = model_rates_bps(found.link, way, found.seed)
    curve = quantile_curve(runs, rates_bps)
    blocks += [
        Picture(name=f"{way}-distribution", figure=distribution_figure(curve, way),
                caption="Distribution of the rates of single seconds",
                finding=_within(curve, "levels of the distribution")),
        Picture(name=f"{way}-quantiles", figure=quantile_figure(curve, way),
                caption="Quantiles of the model against those measured",
                finding=_within(curve, "quantiles")),
    ]  # fmt: skip
    dependence = autocorrelation_curve(runs, rates_bps)
    if dependence is not None:
        blocks.append(
            Picture(name=f"{way}-autocorrelation", figure=autocorrelation_figure(dependence, way),
                    caption="Correlation of the rates of seconds that lie apart",
                    finding=f"Neighbouring seconds correlate by "
                    f"{dependence.measured_values[0]:.2f}, in the model by "
                    f"{dependence.model_values[0]:.2f}. "
                    + _within(dependence, "measured correlations"))
        )  # fmt: skip
    averages = spread_curve(runs, rates_bps)
    if averages is not None:
        blocks.append(
            Picture(name=f"{way}-variance-time", figure=spread_figure(averages, way),
                    caption="Spread of averages over longer and longer times (variance-time)",
                    finding=f"Averages over {averages.x[-1]:g} s still vary by "
                    f"{format_share(float(averages.measured_values[-1]))} of their mean. "
                    + _within(averages, "measured spreads"))
        )  # fmt: skip
    return blocks


def _within(curve: "Comparison", what: str) -> str:
    inside = (curve.measured_values >= curve.low_values) & (
        curve.measured_values <= curve.high_values
    )
    return f"{int(inside.sum())} of {inside.size} {what} lie inside the model's 90 % band."


def _week_finding(week: WeekMap) -> str:
    known = week.is_measured
    n_cells = int(known.sum())
    text = (
        f"{n_cells} of {known.size} hours of the week were measured, {known.size - n_cells} never."
    )
    values = np.where(known, week.median_bps, np.inf)
    hour, day = np.unravel_index(int(values.argmin()), values.shape)
    top_hour, top_day = np.unravel_index(int(week.median_bps.argmax()), values.shape)
    return (
        f"{text} Slowest: {DAY_NAMES[int(day)]} at {int(hour)} h with "
        f"{format_rate(float(values[hour, day]), 2)}; fastest: {DAY_NAMES[int(top_day)]} at "
        f"{int(top_hour)} h with {format_rate(float(week.median_bps[top_hour, top_day]), 2)}."
    )


def latency_section(found: "Material") -> Section:
    """Round trips idle and busy, and loss."""
    latency = found.link.latency
    if latency is None:
        text = "Round trips were never measured; those of cellular links in general were used."
        blocks: tuple[Block, ...] = (Paragraph(text=text),)
        return Section(key="latency", title="Latency", part="evidence", blocks=blocks)
    rows = [_rtt_row("idle", latency.idle_rtts_s, latency.n_idle)]
    lines = [f"probes lost, outages included: {100 * latency.loss_frac:.2g} %"]
    if latency.loaded_rtts_s is not None:
        rows.append(_rtt_row("busy", latency.loaded_rtts_s, latency.n_loaded))
    else:
        lines.insert(0, "round trips while the link is busy were never measured")
    finding = "; ".join(
        f"{row[0]}: half of the probes within {row[2]}, 19 of 20 within {row[3]}" for row in rows
    )
    blocks = (
        Table(
            caption="Round trips",
            header=("link", "1 of 20 within", "half within", "19 of 20 within", "probes"),
            rows=tuple(rows),
            numeric=(1, 2, 3, 4),
        ),
        Bullets(items=tuple(lines)),
        Picture(name="latency", figure=latency_figure(latency), finding=f"Link {finding}.",
                caption="Round trips while the link is "
                + " and while it is ".join(row[0] for row in rows)),
    )  # fmt: skip
    return Section(key="latency", title="Latency, idle and busy", part="evidence", blocks=blocks)


def _rtt_row(name: str, quantiles: "np.ndarray[tuple[int], np.dtype[np.float64]]", n: int
             ) -> tuple[str, ...]:  # fmt: skip
    levels = np.linspace(0, 1, quantiles.size)
    ends = (said(float(np.interp(level, levels, quantiles)), "s") for level in _LEVELS)
    return (name, *ends, str(n))


def link_sections(found: "Material") -> list[Section]:
    """Every measured direction, then the round trips."""
    return [*(capacity_section(found, way) for way in measured(found.link)), latency_section(found)]
