import json
import math

import numpy as np
import pytest

from linkfit.forecast.capacity import WINDOWS_S, forecast_capacity
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.capacity_json import capacity_record


@pytest.fixture(scope="module")
def record():
    rng = np.random.default_rng(5)
    rates = rng.lognormal(np.log(5e6), 0.4, 600)
    link = fit_link(Trace.from_rates(rates, direction="up"))
    return capacity_record(forecast_capacity(link, below_bps=2e6, n_draws=400), seed=0)


def test_the_record_is_whole_and_plain(record):
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert record["schema"] == "linkfit/capacity/1"
    assert (record["layer"], record["below_bps"], record["down"]) == ("ip", 2e6, None)
    (moment,) = record["up"]["moments"]
    assert moment["when"] == "any time"
    assert [average["window_s"] for average in moment["averages"]] == list(WINDOWS_S)


def test_numbers_lie_in_their_intervals_and_in_order(record):
    for average in record["up"]["moments"][0]["averages"]:
        for level in ("p05", "p50", "p95"):
            low, value, high = (average[f"{level}{part}_bps"] for part in ("_low", "", "_high"))
            assert low <= value <= high
        assert average["p05_bps"] < average["p50_bps"] < average["p95_bps"]
        assert 0 <= average["prob_below_low"] <= average["prob_below"] <= 1


def test_what_was_not_asked_or_seen_is_null(record):
    outages = record["up"]["moments"][0]["outages"]
    assert outages["mean_s"] is None
    assert outages["share"] == 0
    assert math.isfinite(outages["most_per_day"])
    assert record["up"]["slowest_hour"] is None
    assert record["up"]["no_slowest_hour"] == "no time of day was measured"
    assert record["up"]["at_least_bps"] is None


def test_a_floor_is_at_least_and_no_more():
    trace = Trace.from_rates(np.full(600, 4e6), saturating=False, layer="ip", direction="up")
    record = capacity_record(forecast_capacity(fit_link(trace)), seed=0)
    assert record["up"]["at_least_bps"] == pytest.approx(4e6)
    assert record["up"]["moments"] == []
