"""The record of a backlog."""

import json
import math
from datetime import date

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import BacklogForecast
from linkfit.report.backlog_json import backlog_record
from linkfit.site.model import Backlog, SizeLaw


def forecast(*days, **other):
    films = Backlog(
        name="films", n_items=2, size=SizeLaw(median_bytes=1e9), deadline=date(2026, 7, 31)
    )
    draws = Forecast(draws=np.array(days), unit="days", world=np.zeros(len(days), np.int32))
    values = {"backlog": films, "days": draws, "binding": "rate", "binding_frac": {"rate": 1.0},
              "prob_by_deadline": 0.123456}  # fmt: skip
    return BacklogForecast(**{**values, **other})


def test_never_is_null_and_numbers_are_rounded():
    record = backlog_record(forecast(2.000001, 3.0, math.inf))
    assert (record["p05_days"], record["p50_days"], record["p95_days"]) == (2.0, 3.0, None)
    assert record["prob_by_deadline"] == 0.1235
    assert record["deadline"] == "2026-07-31"
    json.dumps(record, allow_nan=False)
