"""The answer about caches as the record ``linkfit/caching/1``."""

from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, quantiles
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from linkfit.forecast.cache_answer import CacheAnswer
    from linkfit.forecast.uplink_saving import Saving
    from linkfit.site.model import Site

SCHEMA = "linkfit/caching/1"


def caching_record(
    site: "Site", answer: "CacheAnswer", *, up_rate_bps: float | None, seed: int
) -> dict[str, Any]:
    """Plain dicts, lists, texts, numbers and None; shares are fractions, times in seconds."""
    capacity = None if up_rate_bps is None else up_rate_bps * SECONDS_PER_DAY / BITS_PER_BYTE
    log = answer.log
    return {
        "schema": SCHEMA,
        "seed": seed,
        "site": site.name,
        "what_if": list(site.what_if),
        "told_by": "formula" if log is None else "log",
        "uplink_bytes_per_day": number(answer.uplink_bytes_per_day),
        "uplink_mean_rate_bps": number(up_rate_bps),
        "tasks": [
            {
                "service": one.service.name,
                "task": one.task.name,
                "scope": one.task.cache.scope,
                "lifetime_s": number(one.task.cache.lifetime_s),
                "views_per_object_day": number(one.task.cache.views_per_object_day),
                "bytes_per_day": number(one.bytes_per_day),
            }
            for one in answer.tasks
        ],
        "present": _saving(answer.present, answer.uplink_bytes_per_day, capacity),
        "lifetimes": [
            _saving(saving, answer.uplink_bytes_per_day, capacity) for saving in answer.savings
        ],
        "cache_sizes": [
            {
                "cache_bytes": number(sized.cache_bytes),
                **quantiles(sized.hits, "_hit_frac"),
                "formula_hit_frac": number(sized.formula_frac),
            }
            for sized in answer.cache_sizes
        ],
        "log": None if log is None else {
            "n_lines": log.n_lines,
            "n_unread": log.n_unread,
            "n_others": log.n_others,
            "n_requests": log.n_requests,
            "n_objects": log.n_objects,
            "n_clients": log.n_clients,
            "span_s": number(log.span_s),
            "again_frac": number(log.again_frac),
            "again_by_same_frac": number(log.again_by_same_frac),
            "median_gap_s": number(log.median_gap_s),
            "median_distance": log.median_distance,
        },
    }  # fmt: skip


def _saving(saving: "Saving", wanted_bytes: float, capacity_bytes: float | None) -> dict[str, Any]:
    median = float(saving.saved.quantile(0.5))
    busy = None if not capacity_bytes else wanted_bytes * (1.0 - median) / capacity_bytes
    return {
        "lifetime_s": number(saving.lifetime_s),
        **quantiles(saving.hits, "_hit_frac"),
        **quantiles(saving.saved, "_saved_frac"),
        **quantiles(saving.month, "_saved_bytes_per_month"),
        "uplink_busy_frac": number(busy),
    }
