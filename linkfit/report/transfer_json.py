"""One transfer as a record for --json; a time that never comes is null."""

import math
from typing import TYPE_CHECKING, Any

from linkfit.report.wording import QUANTILES, flow_direction

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast

SCHEMA = "linkfit/transfer/1"


def transfer_record(
    forecast: "Forecast",
    *,
    size_bytes: float,
    flow: str,
    seed: int,
    by_s: float | None = None,
    hour: float | None = None,
    starts_now: bool = False,
) -> dict[str, Any]:
    """The record ``linkfit/transfer/1``: percentiles [s], each with its 90 % interval.

    `by_s` asks for the chance to end within it; `hour` (of the local day) and `starts_now` say
    what the forecast was asked for.
    """
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "seed": seed,
        "size_bytes": size_bytes,
        "flow": flow,
        "direction": flow_direction(flow),
        "starts": "now" if starts_now else "any time",
        "hour": hour,
        "n_draws": int(forecast.draws.size),
    }
    for level in QUANTILES:
        name = f"p{round(level * 100):02d}"
        low_s, high_s = forecast.quantile_interval(level)
        record[f"{name}_s"] = _finite(float(forecast.quantile(level)))
        record[f"{name}_low_s"], record[f"{name}_high_s"] = _finite(low_s), _finite(high_s)
    record["median_parts_s"] = {name: _finite(part) for name, part in forecast.parts.items()}
    record["width_shares"] = dict(forecast.width)
    if by_s is not None:
        record |= {"by_s": by_s, "prob_by": forecast.prob_within(by_s)}
    return record


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
