"""Data use of a billing cycle as a record of plain dicts, lists, texts, numbers and None."""

from typing import TYPE_CHECKING, Any

from linkfit.report.record_numbers import number, prob, quantiles
from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.outcomes import DataForecast


def data_record(data: "DataForecast") -> dict[str, Any]:
    """Data use of a cycle as it stands in the advice: quantiles, overrun, causes by size."""
    levels = [f"p{level * 100:02.0f}" for level in QUANTILES]
    runs_out: dict[str, float | None] = dict.fromkeys(levels)
    if data.runs_out is not None:
        runs_out = quantiles(data.runs_out, "")
    ledger = sorted(
        ((float(entry.use.quantile(0.5)), entry) for entry in data.ledger),
        key=lambda pair: (-pair[0], pair[1].cause, pair[1].service),
    )
    return {
        "cap_bytes": number(data.cap_bytes),
        "cycle_days": number(data.cycle_days),
        **quantiles(data.use, "_bytes"),
        "prob_over_cap": prob(data.prob_over_cap),
        "runs_out": runs_out,
        "runs_out_unit": "days",
        "ledger": [
            {
                "cause": entry.cause,
                "service": entry.service,
                "p50_bytes": number(median),
                "optional": entry.optional,
            }
            for median, entry in ledger
        ],
    }
