import json

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.report.transfer_json import transfer_record


def test_the_record_has_its_percentiles_with_intervals_and_says_both_directions():
    draws = np.concatenate([np.linspace(1, 9, 50), np.linspace(41, 99, 50)])
    forecast = Forecast(draws=draws, unit="s", world=np.repeat([0, 1], 50), parts={"capacity": 9.0})
    record = transfer_record(forecast, size_bytes=4e6, flow="out", seed=7)
    expected = {
        "schema": "linkfit/transfer/1", "seed": 7, "size_bytes": 4e6, "flow": "out",
        "direction": "up", "n_draws": 100, "median_parts_s": {"capacity": 9.0}, "width_shares": {},
        "starts": "any time", "hour": None, "cautions": [],
    }  # fmt: skip
    for name, level in (("p05", 0.05), ("p50", 0.5), ("p95", 0.95)):
        low_s, high_s = forecast.quantile_interval(level)
        expected |= {f"{name}_s": forecast.quantile(level), f"{name}_low_s": low_s}
        expected[f"{name}_high_s"] = high_s
    assert record == expected
    assert record["p50_low_s"] < record["p50_high_s"]


def test_a_time_that_never_comes_is_null():
    draws = np.array([1.0, 2.0, np.inf, np.inf])
    forecast = Forecast(draws=draws, unit="s", world=np.zeros(4))
    record = transfer_record(forecast, size_bytes=1.0, flow="in", seed=0)
    assert record["p95_s"] is None
    assert record["p50_s"] == 2.0
    json.dumps(record, allow_nan=False)


def test_what_was_asked_for_is_said():
    forecast = Forecast(
        draws=np.array([1.0, 2.0, 3.0, 4.0]), unit="s", world=np.zeros(4), width={"link": 1.0}
    )
    record = transfer_record(
        forecast, size_bytes=1.0, flow="in", seed=0, by_s=3.0, hour=20.0, starts_now=True
    )
    assert (record["by_s"], record["prob_by"]) == (3.0, 0.75)
    assert (record["starts"], record["hour"]) == ("now", 20.0)
    assert record["width_shares"] == {"link": 1.0}


def test_the_chance_to_end_in_time_has_its_interval_and_the_task_is_told():
    draws = np.concatenate([np.linspace(1, 9, 50), np.linspace(41, 99, 50)])
    forecast = Forecast(draws=draws, unit="s", world=np.repeat([0, 1], 50))
    task = {"n_requests": 60, "n_parallel": 6, "transport": "tcp"}
    record = transfer_record(
        forecast, size_bytes=2e4, flow="out", seed=7, by_s=20.0, task=task, cautions=("mind this",)
    )
    assert record.items() >= task.items()
    assert record["cautions"] == ["mind this"]
    assert record["prob_by"] == 0.5
    # one world always makes it and the other never does
    assert (record["prob_by_low"], record["prob_by_high"]) == (0.05, 0.95)
