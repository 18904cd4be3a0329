import json

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.report.transfer_json import transfer_record


def test_the_record_has_its_percentiles_with_intervals_and_says_both_directions():
    forecast = Forecast(
        draws=np.arange(1.0, 101.0), unit="s", world=np.arange(100) % 2, parts={"capacity": 50.0}
    )
    record = transfer_record(forecast, size_bytes=4e6, flow="out", seed=7)
    assert record == {
        "schema": "linkfit/transfer/1", "seed": 7, "size_bytes": 4e6, "flow": "out",
        "direction": "up", "n_draws": 100,
        "p05_s": 5.0, "p05_low_s": 5.0, "p05_high_s": 6.0,
        "p50_s": 50.0, "p50_low_s": 49.0, "p50_high_s": 50.0,
        "p95_s": 95.0, "p95_low_s": 95.0, "p95_high_s": 96.0,
        "median_parts_s": {"capacity": 50.0},
    }  # fmt: skip


def test_a_time_that_never_comes_is_null():
    draws = np.array([1.0, 2.0, np.inf, np.inf])
    forecast = Forecast(draws=draws, unit="s", world=np.zeros(4))
    record = transfer_record(forecast, size_bytes=1.0, flow="in", seed=0)
    assert record["p95_s"] is None
    assert record["p50_s"] == 2.0
    json.dumps(record, allow_nan=False)
