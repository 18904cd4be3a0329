"""Data use as a record: strict JSON, sorted by bytes."""

import json

from linkfit.forecast.data_use import forecast_data
from linkfit.report.data_json import data_record
from linkfit.site.model import Background, Site
from linkfit.site.plan import Plan

HUM = Background(name="hum", bytes_per_day=5e6)
FEED = Background(name="feed", bytes_per_day=90e6)


def test_the_largest_cause_comes_first_and_all_is_strict_json():
    data = forecast_data(Site(name="hut", background=(HUM, FEED), plan=Plan(cap_bytes=4e9)))
    record = json.loads(json.dumps(data_record(data), allow_nan=False))
    assert [entry["cause"] for entry in record["ledger"]] == ["feed", "hum"]
    assert record["runs_out"] == {"p05": None, "p50": None, "p95": None}
    assert record["cap_bytes"] == 4e9
