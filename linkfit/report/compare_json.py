"""The comparison of links as the record ``linkfit/compare/1``: what every screen of it reads.

Differences are of the second link against the first; null for unknown and for never.
"""

from typing import TYPE_CHECKING, Any

from linkfit.forecast.rate_differences import STATISTICS
from linkfit.report.record_numbers import number, prob

if TYPE_CHECKING:
    from linkfit.advice.compared_links import (
        LinkComparison,
        PairComparison,
        RateComparison,
        Standing,
        TimeComparison,
    )
    from linkfit.forecast.differences import Difference
    from linkfit.forecast.rate_differences import RatePercentiles

SCHEMA = "linkfit/compare/1"
_KEYS = {"5 %": "p05", "median": "p50", "95 %": "p95", "mean": "mean"}
_SUFFIX = {"bit/s": "bps", "s": "s", "days": "days"}


def compare_record(found: "LinkComparison") -> dict[str, Any]:
    """The record of `found`: plain dicts, lists, texts, numbers and None."""
    return {
        "schema": SCHEMA,
        "seed": found.seed,
        "site": found.site,
        "layer": "ip",
        "links": [_standing(one) for one in found.standings],
        "pairs": [_pair(one) for one in found.pairs],
    }


def _standing(one: "Standing") -> dict[str, Any]:
    return {
        "name": one.name,
        "cost_per_month": number(one.month_cost),
        "prob_best": prob(one.prob_best),
        "n_fit": one.n_fit if one.evaluation is not None else None,
        "services": [{"name": name, "verdict": verdict} for name, verdict in one.verdicts],
        "prob_over_cap": None
        if one.evaluation is None
        else prob(one.evaluation.data.prob_over_cap),
        "rates": {direction: _percentiles(rates) for direction, rates in one.rates},
        "missing": list(one.missing),
    }


def _percentiles(rates: "RatePercentiles") -> dict[str, Any]:
    """Statistics of single seconds with 90 % intervals, drift between days included."""
    record: dict[str, Any] = {}
    ends = rates.interval_bps()
    for q, name in enumerate(_KEYS[what] for what in STATISTICS):
        record[f"{name}_bps"] = number(float(rates.rates_bps[q]))
        record[f"{name}_low_bps"] = number(float(ends[0, q]))
        record[f"{name}_high_bps"] = number(float(ends[1, q]))
    return record | {"block_s": number(rates.block_s), "drift_sigma": number(rates.level_sigma)}


def _pair(pair: "PairComparison") -> dict[str, Any]:
    first, same, second = pair.chances or (None, None, None)
    return {
        "first": pair.first,
        "second": pair.second,
        "difference_is_real": pair.is_real,
        "rates": [_rates(one) for one in pair.rates],
        "verdict_changes": [
            {"service": one.service, "first": one.first, "second": one.second}
            for one in pair.verdict_changes
        ],
        "tasks": [_times(one) for one in pair.times],
        "backlogs": [_times(one) for one in pair.backlogs],
        "prob_first_better": prob(first),
        "prob_alike": prob(same),
        "prob_second_better": prob(second),
        "cautions": list(pair.cautions),
    }


def _rates(one: "RateComparison") -> dict[str, Any]:
    more = one.more_tests
    return {
        "direction": one.direction,
        "why_not": one.why_not,
        **{_KEYS[row.what]: _difference(row) for row in one.differences},
        "to_tell": None
        if more is None
        else {
            "ratio": number(more.ratio),
            "n_tests": more.n_tests,
            "first_bytes": number(more.first_bytes),
            "second_bytes": number(more.second_bytes),
        },
    }


def _times(one: "TimeComparison") -> dict[str, Any]:
    return {
        "service": one.service,
        "name": one.name,
        "target_s": number(one.target_value),
        "p50": _difference(one.p50),
        "p95": _difference(one.p95),
    }


def _difference(one: "Difference") -> dict[str, Any]:
    unit = _SUFFIX[one.unit]
    return {
        f"first_{unit}": number(one.first_value),
        f"second_{unit}": number(one.second_value),
        f"difference_{unit}": number(one.value),
        f"low_{unit}": number(one.low),
        f"high_{unit}": number(one.high),
        "prob_second_more": prob(one.prob_more),
        "p_value": prob(one.p_value),
        "real": one.real,
    }
