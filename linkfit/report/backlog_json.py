"""A backlog as a record: what --json prints and every screen reads."""

from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import prob, quantiles

if TYPE_CHECKING:
    from linkfit.forecast.outcomes import BacklogForecast


def backlog_record(forecast: "BacklogForecast") -> dict[str, Any]:
    """One backlog as it stands in the advice: days, what holds it back, its deadline."""
    deadline = forecast.backlog.deadline
    return {
        "name": forecast.backlog.name,
        **quantiles(forecast.days, "_days"),
        "binding": forecast.binding,
        "binding_frac": {
            name: prob(share) for name, share in sorted(forecast.binding_frac.items())
        },
        "deadline": None if deadline is None else deadline.isoformat(),
        "prob_by_deadline": prob(forecast.prob_by_deadline),
        "refused": forecast.refused,
        "unmeasured": forecast.unmeasured,
    }
