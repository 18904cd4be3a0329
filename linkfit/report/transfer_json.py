"""One transfer as a record for --json; a time that never comes is null."""

import math
from typing import TYPE_CHECKING, Any

from linkfit.forecast.chances import chance_of
from linkfit.report.wording import QUANTILES, flow_direction

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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
    task: "Mapping[str, Any] | None" = None,
    cautions: "Sequence[str]" = (),
) -> dict[str, Any]:
    """The record ``linkfit/transfer/1``: percentiles [s], each with its 90 % interval.

    Parameters
    ----------
    size_bytes : float
        Of each request. [bytes]
    by_s : float, optional
        Asks for the chance to end within it, with its 90 % interval. [s]
    hour, starts_now : optional
        What the forecast was asked for; hour of the local day. [h]
    task : mapping, optional
        Requests, pauses, server and transport, by the names of `predict_transfer`.
    cautions : sequence of str
        What to keep in mind.
    """
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "seed": seed,
        "size_bytes": size_bytes,
        "flow": flow,
        "direction": flow_direction(flow),
        **(task or {}),
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
        chance = chance_of(forecast.draws <= by_s, forecast.world)
        record |= {
            "by_s": by_s, "prob_by": chance.prob, "prob_by_low": chance.low_prob,
            "prob_by_high": chance.high_prob,
        }  # fmt: skip
    record["cautions"] = list(cautions)
    return record


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
