"""How many users a site's services bear, as a record: what --json prints."""

from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob, quantiles

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.user_limits import UserLimit
    from linkfit.forecast.users import DirectionUse, ServiceUsers, TaskUsers, UsersForecast


def users_record(found: "UsersForecast") -> dict[str, Any]:
    """Every service asked for: its limit, what fills the link, its tasks with their curves."""
    return {
        "schema": "linkfit/users/1",
        "seed": found.seed,
        "site": found.site.name,
        "timezone": found.site.timezone,
        "busy_hour_h": found.hour,
        "services": [_service(one) for one in found.services],
    }


def _service(one: "ServiceUsers") -> dict[str, Any]:
    return {
        "name": one.service.name,
        "kind": one.service.kind,
        "n_users": one.service.n_users,
        **_limit(one.limit),
        "first_slow": one.first_slow,
        "fills_first": None if one.fills_first is None else one.fills_first.direction,
        "directions": [_use(use, one.service.n_users) for use in one.uses],
        "tasks": [_task(task, one) for task in one.tasks],
    }


def _limit(limit: "UserLimit | None") -> dict[str, Any]:
    """The largest number and its 5 and 95 % points; null where users make no difference."""
    if limit is None:
        return {
            "max_users": None, "max_users_low": None, "max_users_high": None,
            "max_users_at_limit": None,
        }  # fmt: skip
    return {
        "max_users": limit.n_users,
        "max_users_low": limit.n_low,
        "max_users_high": limit.n_high,
        "max_users_at_limit": limit.at_limit,
    }


def _use(use: "DirectionUse", n_users: int) -> dict[str, Any]:
    return {
        "direction": use.direction,
        "busy_frac": number(use.busy_frac(n_users)),
        "others_frac": number(use.others_frac),
        "one_user_frac": number(use.one_user_frac),
        **quantiles(use.n_full, "_full_users"),
    }


def _task(found: "TaskUsers", one: "ServiceUsers") -> dict[str, Any]:
    task = found.task
    return {
        "name": task.name,
        "flow": task.flow,
        "target_s": task.target_s,
        "must_carry": task.must_carry,
        "refused": found.refused,
        "unmeasured": found.unmeasured,
        **_limit(found.limit),
        "curve": [_point(n, time, task.target_s, one) for n, time in found.curve],
    }


def _point(
    n_users: int, time: "Forecast", target_s: float | None, one: "ServiceUsers"
) -> dict[str, Any]:
    low, high = time.quantile_interval(0.95)
    return {
        "n_users": n_users,
        **quantiles(time, "_s"),
        "p95_low_s": number(low),
        "p95_high_s": number(high),
        "prob_within_target": None if target_s is None else prob(time.prob_within(target_s)),
        "busy_frac": {use.direction: number(use.busy_frac(n_users)) for use in one.uses},
    }
