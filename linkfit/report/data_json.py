"""Data use of a billing cycle as records of plain dicts, lists, texts, numbers and None.

Sizes are bytes as the plan counts them, days count from the start of the cycle, dates are local.
Unknown and never are null.
"""

import math
from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.data_answer import DataAnswer
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.how_often import HowOften
    from linkfit.forecast.outcomes import DataForecast, LedgerEntry, TaskForecast
    from linkfit.forecast.plan_sizes import PlanChance, PlanSizes
    from linkfit.forecast.slowed import Slowed, SlowedService
    from linkfit.forecast.used_so_far import CyclePlace
    from linkfit.site.plan import Plan

SCHEMA = "linkfit/data/1"
_LEVELS = [f"p{level * 100:02.0f}" for level in QUANTILES]


def data_record(data: "DataForecast") -> dict[str, Any]:
    """Data use of a cycle as it stands in the advice: quantiles, overrun, causes by size."""
    runs_out: dict[str, float | None] = dict.fromkeys(_LEVELS)
    if data.runs_out is not None:
        runs_out = quantiles(data.runs_out, "")
    ledger = sorted(
        ((float(entry.use.quantile(0.5)), entry) for entry in data.ledger),
        key=lambda pair: (-pair[0], pair[1].cause, pair[1].service),
    )
    return {
        "cap_bytes": number(data.cap_bytes),
        "cycle_days": number(data.cycle_days),
        **_sizes(data.use),
        "carried": None if data.carried is None else _sizes(data.carried),
        "cost": None if data.cost is None else quantiles(data.cost, "_money"),
        "prob_over_cap": prob(data.prob_over_cap),
        "runs_out": runs_out,
        "runs_out_unit": "days",
        "ledger": [_entry(entry) for _, entry in ledger],
    }


def _sizes(use: "Forecast") -> dict[str, float | None]:
    return {**quantiles(use, "_bytes"), "mean_bytes": number(float(use.draws.mean()))}


def _entry(entry: "LedgerEntry") -> dict[str, Any]:
    return {
        "cause": entry.cause,
        "service": entry.service,
        **_sizes(entry.use),
        "optional": entry.optional,
        "asked_for": entry.asked_for,
    }


def data_answer_record(answer: "DataAnswer") -> dict[str, Any]:
    """The record ``linkfit/data/1``: all that the command answers."""
    data = data_record(answer.data)
    data["smallest_plan_bytes"] = number(answer.sizes.exact_bytes)
    return {
        "schema": SCHEMA,
        "seed": answer.seed,
        "site": answer.site.name,
        "plan": _plan(answer.site.plan),
        "cycle": _cycle(answer),
        "data": data,
        "chance": _chance(answer.chance),
        "chance_if_gib": _chance(answer.chance_gib),
        "plan_sizes": _plan_sizes(answer.sizes),
        "unasked": _sizes(answer.unasked),
        "savings": [
            {"what": saving.name, "kind": saving.kind, **_sizes(saving.saved)}
            for saving in answer.savings
        ],
        "how_often": None if answer.often is None else _how_often(answer.often),
        "slowed": [_slowed(found) for found in answer.slowed],
        "hours_assumed": answer.hours_assumed,
    }


def _plan(plan: "Plan") -> dict[str, Any]:
    return {
        "counted": plan.counted,
        "cycle_day": plan.cycle_day,
        "throttle_bps": number(plan.throttle_bps),
        "price_per_gb": number(plan.price_per_gb),
        "tether_bytes": number(plan.tether_bytes),
        "carry_over_bytes": number(plan.carry_over_bytes),
        "round_up_bytes": number(plan.round_up_bytes),
        "sessions_per_day": number(plan.sessions_per_day) if plan.round_up_bytes else None,
    }


def _cycle(answer: "DataAnswer") -> dict[str, Any] | None:
    """Where in the cycle it stands, and the dates on which the plan runs out."""
    place = answer.place
    if place is None:
        return None
    found = answer.data.runs_out
    days = [math.inf] * 3 if found is None else [float(q) for q in found.quantile(QUANTILES)]
    return {
        "start": place.start.date().isoformat(),
        "days": place.cycle_days,
        "elapsed_days": number(place.elapsed_days),
        "used_bytes": number(answer.used_bytes),
        "used_up": _used_up(answer),
        "runs_out_on": {
            level: _date(place, when) for level, when in zip(_LEVELS, days, strict=True)
        },
        "timezone": answer.site.timezone,
    }


def _used_up(answer: "DataAnswer") -> bool:
    """Is the cap spent already?"""
    cap_bytes = answer.data.cap_bytes
    return cap_bytes is not None and (answer.used_bytes or 0.0) >= cap_bytes


def _date(place: "CyclePlace", days: float) -> str | None:
    return place.moment(days).date().isoformat() if math.isfinite(days) else None


def _chance(chance: "PlanChance | None") -> dict[str, Any] | None:
    if chance is None:
        return None
    return {
        "cap_bytes": number(chance.cap_bytes),
        "prob_over": prob(chance.prob_over),
        "prob_over_low": prob(chance.prob_over_low),
        "prob_over_high": prob(chance.prob_over_high),
    }


def _plan_sizes(sizes: "PlanSizes") -> dict[str, Any]:
    return {
        "exact_bytes": number(sizes.exact_bytes),
        "exact_low_bytes": number(sizes.exact_low_bytes),
        "exact_high_bytes": number(sizes.exact_high_bytes),
        "enough": _chance(sizes.enough),
        "below": _chance(sizes.below),
    }


def _how_often(often: "HowOften") -> dict[str, Any]:
    return {
        "service": often.service.name,
        "task": often.task.name,
        "now_per_day": number(often.now_per_day),
        "days": number(often.days),
        "one": _sizes(often.one),
        "alone": _times(often.alone),
        "besides": _times(often.besides),
    }


def _times(times: "Forecast") -> dict[str, Any]:
    """How often a day 19 of 20 cycles bear, with the interval on it, and the median."""
    low, high = times.quantile_interval(0.05)
    return {
        **quantiles(times, "_per_day"),
        "p05_low_per_day": number(low),
        "p05_high_per_day": number(high),
    }


def _slowed(found: "Slowed") -> dict[str, Any]:
    return {
        "rate_bps": number(found.rate_bps),
        "services": [_slowed_service(service) for service in found.services],
    }


def _slowed_service(found: "SlowedService") -> dict[str, Any]:
    return {
        "name": found.service.name,
        "works_alone": found.works_alone,
        "works_together": found.works_together,
        "alone": [_task(task) for task in found.alone],
        "together": [_task(task) for task in found.together],
    }


def _task(forecast: "TaskForecast") -> dict[str, Any]:
    low_s, high_s = forecast.time.quantile_interval(0.95)
    return {
        "name": forecast.task.name,
        "flow": forecast.task.flow,
        "target_s": number(forecast.task.target_s),
        **quantiles(forecast.time, "_s"),
        "p95_low_s": number(low_s),
        "p95_high_s": number(high_s),
        "prob_within_target": prob(forecast.prob_within_target),
        "meets_target": forecast.meets_target,
        "refused": forecast.refused,
        "unmeasured": forecast.unmeasured,
    }
