"""Interactive work as a record for --json; a time that never comes and no limit are null."""

import math
from typing import TYPE_CHECKING, Any

from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.interactive import Cell
    from linkfit.forecast.interactive_forecast import InteractiveForecast
    from linkfit.forecast.rate_limits import RateLimit
    from linkfit.forecast.world_intervals import Estimate

SCHEMA = "linkfit/interactive/1"


def interactive_record(found: "InteractiveForecast", *, seed: int) -> dict[str, Any]:
    """The record ``linkfit/interactive/1``: times [s], shares of moments, limits [bit/s]."""
    return {
        "schema": SCHEMA,
        "seed": seed,
        "direction": "up",
        "hour": found.hour,
        "is_floor": found.is_floor,
        "wanted_prob": found.wanted_prob,
        "queue": {
            "source": found.queue_source,
            **_quantiles(found.queue_s),
            "n_probes": found.n_probes,
            "n_busy_probes": found.n_busy_probes,
        },
        "activities": [_cell(cell) for cell in found.cells],
        "idle_one_way": {
            **_estimate(found.idle.delay_s, "mean_delay_s"),
            **_estimate(found.idle.variation_s, "variation_s"),
            **_estimate(found.idle.loss_frac, "loss_frac"),
            "y1541_classes": list(found.idle.classes),
        },
        "limits": [_limit(limit) for limit in found.limits],
        "limit_bps": found.limit_bps,
        "limit_is_given": found.limit_is_given,
        "start_limit_bps": found.start_bps,
        "adaptive_limits_bps": dict(
            zip(("least", "base", "most"), found.adaptive_bps, strict=True)
        ),
        "sync": {
            "size_bytes": found.sync_bytes,
            "without_limit": _quantiles(found.free_s),
            "under_limit": _quantiles(found.held_s),
        },
        "group_calls": [
            {
                "name": group.name,
                "n_people": group.n_people,
                "n_people_low": group.n_low,
                "n_people_high": group.n_high,
                "directions": list(group.ways),
            }
            for group in found.groups
        ],
    }


def _cell(cell: "Cell") -> dict[str, Any]:
    record: dict[str, Any] = {
        "activity": cell.activity,
        "while": cell.situation,
        "time": cell.measure,
        **_quantiles(cell.time),
        "good": cell.good,
        **_estimate(cell.share, "good_share"),
        "short_of_rate_share": cell.short_of_rate_frac,
        "verdict": cell.verdict,
    }
    if cell.score is not None:
        low, middle, high = (float(q) for q in cell.score.quantile(QUANTILES))
        record |= {"p05_mos": low, "p50_mos": middle, "p95_mos": high}
    return record


def _limit(limit: "RateLimit") -> dict[str, Any]:
    return {
        "keeps": limit.name,
        "good": limit.good,
        **_estimate(limit.limit, "limit_bps"),
        "is_needed": limit.is_needed,
        **_estimate(limit.idle_share, "idle_good_share"),
        **_estimate(limit.start_share, "start_limit_good_share"),
        **_estimate(limit.sync_share, "bulk_rate_share"),
    }


def _quantiles(forecast: "Forecast") -> dict[str, float | None]:
    record = {}
    for level in QUANTILES:
        name = f"p{round(level * 100):02d}"
        low_s, high_s = forecast.quantile_interval(level)
        record[f"{name}_s"] = _finite(float(forecast.quantile(level)))
        record[f"{name}_low_s"], record[f"{name}_high_s"] = _finite(low_s), _finite(high_s)
    return record


def _estimate(found: "Estimate", name: str) -> dict[str, float | None]:
    return {
        name: _finite(found.value),
        f"{name}_low": _finite(found.low),
        f"{name}_high": _finite(found.high),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
