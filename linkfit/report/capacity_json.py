"""What the link carries, as a record for --json; what was not asked for or is unknown is null."""

from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob
from linkfit.report.trace_json import plain_value
from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.capacity import (
        AverageRate,
        Capacity,
        DirectionCapacity,
        Moment,
        OutageTimes,
    )
    from linkfit.forecast.world_intervals import Estimate

SCHEMA = "linkfit/capacity/1"


def capacity_record(found: "Capacity", *, seed: int) -> dict[str, Any]:
    """The record ``linkfit/capacity/1``: rates [bit/s at the IP layer] with 90 % intervals."""
    return {
        "schema": SCHEMA,
        "seed": seed,
        "layer": "ip",
        "below_bps": found.below_bps,
        "up": None if found.up is None else _direction(found.up),
        "down": None if found.down is None else _direction(found.down),
        "missing": list(found.missing),
    }


def _direction(found: "DirectionCapacity") -> dict[str, Any]:
    slowest = next((moment for moment in found.moments if moment.when == "slowest hour"), None)
    return {
        "measured_s": number(found.measured_s),
        "n_tests": found.n_tests,
        "at_least_bps": number(found.at_least_bps),
        "slowest_hour": None if slowest is None else slowest.hour,
        "no_slowest_hour": found.no_slowest_hour,
        "timezone": found.timezone,
        "weekly": plain_value(found.weekly),
        "moments": [_moment(moment) for moment in found.moments],
    }


def _moment(moment: "Moment") -> dict[str, Any]:
    return {
        "when": moment.when,
        "hour": moment.hour,
        "hour_was_measured": moment.hour_was_measured,
        "averages": [_average(average) for average in moment.averages],
        "outages": _outages(moment.outages),
    }


def _average(average: "AverageRate") -> dict[str, Any]:
    record: dict[str, Any] = {"window_s": average.window_s}
    for level in QUANTILES:
        name = f"p{round(level * 100):02d}"
        low_bps, high_bps = average.rate.quantile_interval(level)
        record[f"{name}_bps"] = number(float(average.rate.quantile(level)))
        record[f"{name}_low_bps"] = number(low_bps)
        record[f"{name}_high_bps"] = number(high_bps)
    return record | _shares("prob_below", average.below)


def _outages(outages: "OutageTimes") -> dict[str, Any]:
    return {
        **_shares("share", outages.share),
        **_numbers("per_day", outages.per_day),
        **_numbers("mean_s", outages.mean_s),
        "most_per_day": number(outages.most_per_day),
    }


def _shares(name: str, found: "Estimate | None") -> dict[str, float | None]:
    value, low, high = (None,) * 3 if found is None else (found.value, found.low, found.high)
    return {name: prob(value), f"{name}_low": prob(low), f"{name}_high": prob(high)}


def _numbers(name: str, found: "Estimate | None") -> dict[str, float | None]:
    value, low, high = (None,) * 3 if found is None else (found.value, found.low, found.high)
    return {name: number(value), f"{name}_low": number(low), f"{name}_high": number(high)}
