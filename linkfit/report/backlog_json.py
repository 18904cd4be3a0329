"""A backlog as a record: what --json prints and every screen reads."""

import math
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.chances import Chance
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.nights import Answer, Nights, Waiting
    from linkfit.forecast.outcomes import BacklogForecast, Easing

_HOURS_PER_DAY = 24.0


def backlog_record(forecast: "BacklogForecast") -> dict[str, Any]:
    """One backlog as it stands in the advice: days, dates, what holds it back, its deadline.

    Days count from the start; a date is null where the start is not known or it never ends.
    `p50_low_days` and `p50_high_days` are the 90 % interval on the median, from having measured
    little; `sooner` is what each small easing alone would save.
    """
    deadline = forecast.backlog.deadline
    low, high = forecast.days.quantile_interval(0.5)
    return {
        "name": forecast.backlog.name,
        **quantiles(forecast.days, "_days"),
        "p50_low_days": number(low),
        "p50_high_days": number(high),
        "start": None if forecast.start is None else forecast.start.isoformat(),
        "start_h": number(forecast.start_h),
        **{f"p{level * 100:02.0f}_date": _date(forecast, level) for level in QUANTILES},
        "prob_never": prob(1.0 - forecast.days.prob_within(1e12)),
        "why_never": forecast.why_never,
        "binding": forecast.binding,
        "binding_frac": {
            name: prob(share) for name, share in sorted(forecast.binding_frac.items())
        },
        "deadline": None if deadline is None else deadline.isoformat(),
        **_chance(forecast.by_deadline, "prob_by_deadline"),
        "refused": forecast.refused,
        "unmeasured": forecast.unmeasured,
        "sooner": [_easing(one) for one in forecast.easings],
        "assumed": list(forecast.assumed),
    }


def _chance(found: "Chance | None", name: str) -> dict[str, float | None]:
    """A chance and its 90 % interval, null where there is none."""
    low, middle, high = (
        (None, None, None) if found is None else (found.low_prob, found.prob, found.high_prob)
    )
    return {name: prob(middle), f"{name}_low": prob(low), f"{name}_high": prob(high)}


def _date(forecast: "BacklogForecast", level: float) -> str | None:
    days = float(forecast.days.quantile(level))
    return None if forecast.start is None else day_after(forecast.start, forecast.start_h, days)


def day_after(start: date, start_h: float, days: float) -> str | None:
    """The local day on which something ends that takes `days` from `start_h` of `start` on."""
    n_days = max(math.ceil(days + start_h / _HOURS_PER_DAY) - 1, 0) if math.isfinite(days) else None
    if n_days is None or n_days > (date.max - start).days:
        return None
    return (start + timedelta(days=n_days)).isoformat()


def _easing(easing: "Easing") -> dict[str, Any]:
    """Days sooner; null: it ends only with this."""
    return {
        "what": easing.what,
        "constraint": easing.constraint,
        **quantiles(easing.sooner, "_days"),
        "done_p50_days": number(float(easing.days.quantile(0.5))),
    }


def nights_record(nights: "Nights") -> dict[str, Any]:
    """The chance that the first window does, and how many windows it takes."""
    return {
        "length_h": number(nights.length_h),
        **_chance(nights.first, "prob_first"),
        **quantiles(nights.nights, "_nights"),
    }


def waiting_record(waiting: "Waiting") -> dict[str, Any]:
    """Days from now with and without waiting for the window, and what the window gains."""

    def days(forecast: "Forecast") -> dict[str, float | None]:
        return quantiles(forecast, "_days")

    fast = waiting.times_as_fast
    return {
        "window_start_h": waiting.window.start_h,
        "window_end_h": waiting.window.end_h,
        "now": days(waiting.now),
        "waited": days(waiting.waited),
        "later": days(waiting.later),
        "n_unmeasured_hours": waiting.n_unmeasured,
        "times_as_fast": None if fast is None else quantiles(fast, ""),
    }


def answer_record(answer: "Answer") -> dict[str, Any]:
    """The backlog's record with `nights` and `waiting`, null where not asked."""
    nights, waiting = answer.nights, answer.waiting
    return {
        **backlog_record(answer.forecast),
        "nights": None if nights is None else nights_record(nights),
        "waiting": None if waiting is None else waiting_record(waiting),
    }
