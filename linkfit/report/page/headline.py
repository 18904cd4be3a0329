"""The headline answers of a report, taken from everything that it tells of."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.evaluation import stream_seed
from linkfit.forecast.rate_differences import STATISTICS, rate_percentiles
from linkfit.forecast.time_differences import world_quantiles
from linkfit.link.daily import UNMEASURED_SIGMA
from linkfit.report.page.answers import Answers, ToldNumber, ToldRecord, ToldService
from linkfit.report.page.material import measured
from linkfit.report.page.verdicts import in_time, slowest
from linkfit.report.record_numbers import number, prob
from linkfit.site.flat_file import flat_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.outcomes import TaskForecast
    from linkfit.link.futures import DirectionModel
    from linkfit.report.page.inputs import Inputs
    from linkfit.report.page.material import Material

_MIDDLE, _LATE = 0.5, 0.95
_N_RESAMPLES = 300  # of each direction's record
_N_KEPT = 40  # quantiles of the resamples
_EVEN = (np.arange(_N_KEPT) + 0.5) / _N_KEPT


def answers_of(found: "Material", inputs: "Inputs") -> Answers:
    """The headline answers of the report that is made of `found`."""
    return Answers(
        version=inputs.version,
        seed=inputs.seed,
        site=found.site.name,
        link_sha256=inputs.link_sha256,
        services=tuple(_services(found)),
        numbers=tuple(_numbers(found)),
        records=tuple(_record(way, found.link.direction(way)) for way in measured(found.link)),
        settings=dict(flat_settings(inputs.site_text, inputs.settings)),
        start=None if inputs.start is None else inputs.start.isoformat(),
    )


def _services(found: "Material") -> "Iterator[ToldService]":
    for one in found.advice.before.services:
        task = slowest(one)
        share = in_time(task)
        name = one.service.name
        ends = (None,) * 3 if share is None else (share.value, share.low, share.high)
        value, low, high = (prob(end) for end in ends)
        yield ToldService(
            name=name,
            verdict=found.advice.verdicts[name],
            slowest="" if task is None else _task_name(task),
            in_time_prob=value,
            low_prob=low,
            high_prob=high,
        )


def _numbers(found: "Material") -> "Iterator[ToldNumber]":
    for way in measured(found.link):
        model = found.link.direction(way)
        if not model.lower_bound_only:
            yield _median_rate(way, model, found.seed)
    yield _number("data", "data wanted in a billing cycle", "median", found.data.data.use, _MIDDLE)
    for story in found.backlogs:
        if not story.forecast.unmeasured:
            name = story.forecast.backlog.name
            yield _number("backlog", name, "median", story.forecast.days, _MIDDLE)
    for one in found.advice.before.services:
        for task in one.tasks:
            if task.task.must_carry and not (task.unmeasured or task.refused):
                yield _number("task", _task_name(task), "19 of 20 within", task.time, _LATE)


def _median_rate(way: str, model: "DirectionModel", seed: int) -> ToldNumber:
    """The median of the measured seconds, with resamples as `compare_links` draws them. [bit/s]"""
    rng = stream_seed(seed, "answers", way)
    found = rate_percentiles(model, rng, n_resamples=_N_RESAMPLES)
    median = STATISTICS.index("median")
    low_bps, high_bps = found.interval_bps()[:, median]
    resampled_bps = np.quantile(found.resampled_bps[:, median], _EVEN)
    return ToldNumber(
        kind="link",
        name=way,
        what="median",
        unit="bit/s",
        value=number(float(found.rates_bps[median])),
        low=number(float(low_bps)),
        high=number(float(high_bps)),
        worlds=tuple(number(float(rate_bps)) for rate_bps in resampled_bps),
    )


def _task_name(one: "TaskForecast") -> str:
    return f"{one.service}: {one.task.name}"


def _number(kind: str, name: str, what: str, forecast: "Forecast", level: float) -> ToldNumber:
    low, high = forecast.quantile_interval(level)
    return ToldNumber(
        kind=kind,
        name=name,
        what=what,
        unit=forecast.unit,
        value=number(float(forecast.quantile(level))),
        low=number(low),
        high=number(high),
        worlds=tuple(number(float(value)) for value in world_quantiles(forecast, level)),
    )


def _record(way: str, model: "DirectionModel") -> ToldRecord:
    daily = model.daily
    starts_s = model.runs.start_s[np.isfinite(model.runs.start_s)]
    days = [_day(float(end_s)) for end_s in (starts_s.min(), starts_s.max())] if starts_s.size \
        else [None, None]  # fmt: skip
    total_s = float(daily.measured_s.sum())
    has_clock = daily.n_days > 0 and total_s > 0
    known = daily.factor[daily.measured_s > 0]
    sigma = float(np.log(known).std()) if daily.found else UNMEASURED_SIGMA
    return ToldRecord(
        direction=way,
        first_day=days[0],
        last_day=days[1],
        n_tests=model.n_tests,
        hour_fracs=tuple(prob(s / total_s) or 0.0 for s in daily.measured_s) if has_clock else (),
        hours_sigma=number(sigma) or 0.0,
    )


def _day(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).date().isoformat()
