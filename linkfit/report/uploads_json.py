"""Uploads as a record for --json; what never ends is null."""

import math
from typing import TYPE_CHECKING, Any

from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.chances import Chance
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.upload_ask import UploadAsk
    from linkfit.forecast.upload_outcomes import LaneRow, PieceRow, UploadsForecast

SCHEMA = "linkfit/uploads/1"


def uploads_record(forecast: "UploadsForecast", *, seed: int) -> dict[str, Any]:
    """The record ``linkfit/uploads/1``: bytes, seconds, bit/s, probabilities.

    Percentiles are those of all futures; ``_low`` and ``_high`` the 90 % interval on them that
    comes from having measured little.
    """
    timeout = forecast.timeout
    return {
        "schema": SCHEMA,
        "seed": seed,
        **_asked(forecast.ask),
        "rate": quantities(forecast.rate, "bps") | {"window_s": forecast.window_s},
        "outages_beyond_idle_timeout": {
            "mean_per_day": forecast.outages_per_day.value,
            "mean_low_per_day": forecast.outages_per_day.low,
            "mean_high_per_day": forecast.outages_per_day.high,
            "measured_s": forecast.measured_s,
        },
        "same_link": None
        if forecast.same_link is None
        else {
            "one_item_whole": quantities(forecast.same_link.stays, "s"),
            "one_item_whole_elsewhere": quantities(forecast.same_link.away, "s"),
        },
        "unmeasured": forecast.unmeasured,
        "most_in_time_bytes": finite(forecast.most_in_time_bytes),
        "one_item_whole": _piece(forecast.whole),
        "requests": [_piece(row) for row in forecast.rows],
        "chunk": {
            "chunk_bytes": forecast.chunk.chunk_bytes,
            "low_bytes": forecast.chunk.low_bytes,
            "high_bytes": forecast.chunk.high_bytes,
            "bound": forecast.chunk.bound,
            "round_trips_cost": forecast.chunk.tight,
            "over_worlds": quantities(forecast.chunks, "bytes"),
        },
        "sent_in_requests_of_bytes": forecast.sent_bytes,
        "at_once": [_lanes(row) for row in forecast.lanes],
        "best_at_once": {
            "n": forecast.lane_advice.n_lanes,
            "why": forecast.lane_advice.why,
            "over_worlds": quantities(forecast.n_lanes, "n"),
        },
        "timeouts": [
            {
                "timeout_s": row.timeout_s,
                "least_rate_bps": row.least_rate_bps,
                **chance(row.passes, "passes"),
            }
            for row in forecast.timeouts
        ],
        "timeouts_to_set": {
            "total_s": timeout.total_s,
            "idle_s": timeout.idle_s,
            "request": quantities(timeout.piece, "s"),
            "outage": None if timeout.outage is None else quantities(timeout.outage, "s"),
            "outages": quantities(timeout.outages_per_day, "per_day"),
        },
    }


def quantities(forecast: "Forecast", unit: str) -> dict[str, float | None]:
    """``p05_UNIT`` to ``p95_UNIT``, each with its interval ``_low_`` and ``_high_``."""
    record: dict[str, float | None] = {}
    for level in QUANTILES:
        name = f"p{round(level * 100):02d}"
        low, high = forecast.quantile_interval(level)
        record[f"{name}_{unit}"] = finite(float(forecast.quantile(level)))
        record[f"{name}_low_{unit}"] = finite(low)
        record[f"{name}_high_{unit}"] = finite(high)
    return record


def chance(found: "Chance", name: str) -> dict[str, float]:
    """A chance with its interval."""
    return {
        f"{name}_prob": found.prob,
        f"{name}_low_prob": found.low_prob,
        f"{name}_high_prob": found.high_prob,
    }


def finite(value: float) -> float | None:
    """`value`, or None where it is infinite."""
    return value if math.isfinite(value) else None


def _asked(ask: "UploadAsk") -> dict[str, Any]:
    return {
        "flow": ask.flow,
        "direction": ask.direction,
        "size_bytes": ask.size_bytes,
        "n_items": ask.n_items,
        "per_item_s": ask.per_item_s,
        "remote_rate_bps": ask.remote_rate_bps,
        "same_link_share_frac": ask.same_link_share_frac,
        "path": {
            "body_limit_bytes": ask.body_limit_bytes,
            "idle_timeout_s": ask.idle_timeout_s,
            "total_timeout_s": ask.total_timeout_s,
            "drops_per_day": ask.drops_per_day,
            "relay_rtt_s": ask.relay_rtt_s,
            "tunnel_overhead_bytes": ask.tunnel_overhead_bytes,
            "mtu_bytes": ask.mtu_bytes,
        },
    }


def _piece(row: "PieceRow") -> dict[str, Any]:
    return {
        "request_bytes": row.piece_bytes,
        "refused": row.refused,
        **chance(row.passes, "passes"),
        "time": quantities(row.time, "s") | {"mean_s": finite(row.mean_s)},
        "never_frac": 1.0 - row.time.prob_within(1e300),
        "wasted": quantities(row.wasted, "bytes") | {"mean_bytes": row.mean_wasted_bytes},
    }


def _lanes(row: "LaneRow") -> dict[str, Any]:
    return {
        "n": row.n_lanes,
        "first": quantities(row.first, "s"),
        "last": quantities(row.last, "s"),
        "throughput": quantities(row.throughput, "bps"),
        "items": quantities(row.items_per_s, "per_s"),
    }
