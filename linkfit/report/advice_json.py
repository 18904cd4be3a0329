"""The advice as the record ``linkfit/advice/1``: what --json prints and every screen reads.

Unknown or never is null, so that the record is JSON wherever it is read; times are in seconds,
sizes in bytes, days from the start of the cycle or of the backlog. `services`, `data` and
`backlogs` tell of the site as it is, `after` of the same site with all of `changes`.
"""

from typing import TYPE_CHECKING, Any

from linkfit.advice.link_rates import AVERAGE_S, link_rates
from linkfit.advice.measures import OVER_CAP_PROB
from linkfit.advice.selection import TIME_LIMIT_S
from linkfit.advice.verdict import (
    open_directions,
    plan_reason,
    verdict_reason,
    verdict_sentence,
)
from linkfit.forecast.easing import EXTRA_CAP_BYTES
from linkfit.forecast.plan_sizes import plan_chance, plan_sizes
from linkfit.report.advice_answers import answers_record
from linkfit.report.backlog_json import backlog_record
from linkfit.report.data_json import data_record
from linkfit.report.money import money_text
from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from linkfit.advice.advise import Advice, ChangeOutcome
    from linkfit.advice.measures import Measure
    from linkfit.forecast.outcomes import (
        DataForecast,
        Evaluation,
        ServiceForecast,
        TaskForecast,
    )
    from linkfit.link.model import LinkModel

SCHEMA = "linkfit/advice/1"
_MEASURED_WORDS = {"up": "upload", "down": "download"}  # as the link names what is missing


def advice_record(advice: "Advice", link: "LinkModel") -> dict[str, Any]:
    """The record of `advice` on `link`: plain dicts, lists, texts, numbers and None."""
    verdicts, currency = advice.verdicts, advice.before.site.prices.currency
    measures = zip(advice.measures_before, advice.measures_after, strict=True)
    return {
        "schema": SCHEMA,
        "seed": advice.seed,
        "site": advice.before.site.name,
        "timezone": advice.before.site.timezone,
        "what_if": list(advice.before.site.what_if),
        "link": _link(link, advice.seed),
        "feasible": advice.feasible,
        "in_the_way": list(advice.in_the_way),
        **_forecasts(advice.before, verdicts),
        "plan_reason": plan_reason(advice.before, advice.after),
        "hours_up": advice.before.hours_up,
        "verdict_reasons": {name: _why(name, advice) for name in verdicts},
        "plan_easing": _plan_easing(advice.before.data),
        "currency": currency,
        "changes": [_change(outcome, currency) for outcome in advice.outcomes if outcome.chosen],
        "after": _forecasts(advice.after, verdicts) if advice.chosen else None,
        "other_changes": [
            _change(outcome, currency) for outcome in advice.outcomes if not outcome.chosen
        ],
        "reasons": list(advice.reasons),
        **answers_record(advice),
        "targets": [_target(old, new) for old, new in measures if old.known and new.known],
        "search": {
            "n_evaluations": advice.n_evaluations,
            "exhausted": advice.exhausted,
            "gap_frac": number(advice.gap_frac),
            "time_limit_s": TIME_LIMIT_S,
            "n_cut_short": advice.n_cut_short,
        },
        "missing": list(advice.before.missing),
        "notes": list(advice.before.notes),
        "cautions": list(advice.cautions),
    }


def _link(link: "LinkModel", seed: int) -> dict[str, Any]:
    """Rates that the link reaches in 95, 90 and 50 % of 10 s averages, and where they come from."""
    rates = link_rates(link, seed)
    found: dict[str, Any] = {}
    for name in ("up", "down"):
        model = getattr(link, name)
        measured = model is not None
        found[name] = {
            f"{level}_bps": number(getattr(rates, f"{name}_{level}_bps")) if measured else None
            for level in ("p05", "p10", "p50")
        }
        found[name]["lower_bound_only"] = measured and model.lower_bound_only
        found[name]["average_s"] = AVERAGE_S
    found["loss_frac"] = number(link.loss_frac)
    found["sources"] = [source.name for source in link.sources]
    found["missing"] = list(link.missing)
    return found


def _forecasts(evaluation: "Evaluation", verdicts: "Mapping[str, str]") -> dict[str, Any]:
    return {
        "services": [
            _service(s, verdicts[s.service.name], verdict_reason(s.service.name, evaluation))
            for s in evaluation.services
        ],
        "data": data_record(evaluation.data),
        "backlogs": [backlog_record(backlog) for backlog in evaluation.backlogs],
    }


def _why(name: str, advice: "Advice") -> dict[str, Any]:
    """One sentence on a verdict, and which measurements would settle what is open."""
    before, after = advice.before, advice.after
    directions = open_directions(name, before, after)
    words = tuple(_MEASURED_WORDS[direction] for direction in directions)
    telling = [text for text in before.missing if text.startswith(words)] if words else []
    return {
        "why": verdict_sentence(name, before, after),
        "open_directions": list(directions),
        "measure": telling,
    }


def _service(forecast: "ServiceForecast", verdict: str, why: str) -> dict[str, Any]:
    return {
        "name": forecast.service.name,
        "kind": forecast.service.kind,
        "verdict": verdict,
        "why": why,
        "n_users": forecast.service.n_users,
        "works_throttled": forecast.works_throttled,
        "tasks": [_task(task) for task in forecast.tasks],
    }


def _task(forecast: "TaskForecast") -> dict[str, Any]:
    task = forecast.task
    low_s, high_s = forecast.time.quantile_interval(QUANTILES[-1])
    return {
        "name": task.name,
        "flow": task.flow,
        "target_s": number(task.target_s),
        **quantiles(forecast.time, "_s"),
        "p95_low_s": number(low_s),
        "p95_high_s": number(high_s),
        "prob_within_target": prob(forecast.prob_within_target),
        "max_users": forecast.n_max_users,
        "max_users_low": forecast.n_max_users_low,
        "max_users_high": forecast.n_max_users_high,
        "meets_target": forecast.meets_target,
        "must_carry": task.must_carry,
        "refused": forecast.refused,
        "unmeasured": forecast.unmeasured,
    }


def _change(outcome: "ChangeOutcome", currency: str) -> dict[str, Any]:
    """A change with what it moves ALONE; the whole set together is told by `after`.

    Of `cost_parts`, `money` is a month's and `money_once` a purchase's; null: price not given.
    """
    change, cost = outcome.change, outcome.change.cost
    money = f", {money_text(cost.month_cost, cost.once_cost, currency)}" if cost.buys else ""
    return {
        "what": change.what,
        "service": change.service,
        "setting": change.setting,
        "from": change.before_text,
        "to": change.after_text,
        "gain": [
            {
                "measure": gain.measure,
                "unit": gain.unit,
                "before": number(gain.before),
                "after": number(gain.after),
                "target": number(gain.target_value),
                "better": gain.better,
                "within_noise": gain.within_noise,
                "refused_before": gain.refused_before,
                "refused_after": gain.refused_after,
            }
            for gain in outcome.gains
        ],
        "cost": f"{change.cost_text}{money}",
        "cost_parts": {
            "quality_loss_frac": number(cost.quality_loss_frac),
            "effort_h": number(cost.effort_h),
            "money": number(cost.month_cost),
            "money_once": number(cost.once_cost),
            "source": cost.source,
        },
    }


def _plan_easing(data: "DataForecast") -> dict[str, Any] | None:
    """What a little more plan would change; null where it runs out rarely enough or never.

    `enough_bytes` is the smallest cap that does; its ends are what is not known of the habits.
    """
    if data.cap_bytes is None or data.prob_over_cap is None or data.prob_over_cap <= OVER_CAP_PROB:
        return None
    more = plan_chance(data.cap_needed or data.use, data.cap_bytes + EXTRA_CAP_BYTES)
    sizes = plan_sizes(data)
    return {
        "extra_bytes": EXTRA_CAP_BYTES,
        "prob_over_cap": prob(more.prob_over),
        "prob_over_cap_low": prob(more.prob_over_low),
        "prob_over_cap_high": prob(more.prob_over_high),
        "enough_bytes": number(sizes.exact_bytes),
        "enough_low_bytes": number(sizes.exact_low_bytes),
        "enough_high_bytes": number(sizes.exact_high_bytes),
    }


def _target(before: "Measure", after: "Measure") -> dict[str, Any]:
    return {
        "measure": before.text,
        "unit": before.unit,
        "target": number(before.target_value),
        "target_after": number(after.target_value),
        "before": number(before.value),
        "after": number(after.value),
        "met_before": before.met,
        "met_after": after.met,
        "refused_before": before.refused,
        "refused_after": after.refused,
    }
