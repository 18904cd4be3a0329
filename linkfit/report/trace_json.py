"""What `linkfit inspect` tells, as a record for --json; infinity is null."""

import math
from dataclasses import fields, is_dataclass
from typing import Any

from linkfit.ingest.summary import Quantiles, TraceSummary
from linkfit.ingest.trace import Trace

SCHEMA = "linkfit/inspect/1"


def inspect_record(trace: Trace, summary: TraceSummary) -> dict[str, Any]:
    """The record ``linkfit/inspect/1``: the summary by its own names, and every source."""
    return {
        "schema": SCHEMA,
        **plain_value(summary),
        "formats": dict(summary.formats),
        "sources": [plain_value(source) for source in trace.sources],
    }


def plain_value(value: Any) -> Any:
    """`value` as dicts, lists, texts, numbers and None; unknown and infinite are None."""
    if isinstance(value, Quantiles):
        names = ("p05", "p50", "p95")
        return dict(zip(names, map(plain_value, value.values), strict=True))
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain_value(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (list, tuple)):
        return [plain_value(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
