"""Data use as a record: strict JSON, sorted by bytes, null for never and not asked."""

import json
from dataclasses import replace
from datetime import datetime

import pytest

from linkfit.forecast.data_answer import answer_data, with_slowed
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.used_so_far import CyclePlace
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.data_json import SCHEMA, data_answer_record, data_record
from linkfit.site.model import Background, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

HUM = Background(name="hum", bytes_per_day=5e6)
FEED = Background(name="feed", bytes_per_day=90e6)
ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), target_s=60.0)
FINDS = Service(name="finds", kind="photo-library", n_users=8, tasks=(ADD,))
SITE = Site(name="hut", services=(FINDS,), background=(HUM, FEED),
            plan=Plan(cap_bytes=4e9, cycle_day=5))  # fmt: skip
PLACE = CyclePlace.at(datetime(2026, 6, 14, 12), 5)


def strict(record):
    return json.loads(json.dumps(record, allow_nan=False))


def test_the_largest_cause_comes_first_and_all_is_strict_json():
    data = forecast_data(replace(SITE, services=(), plan=Plan(cap_bytes=9e9)))
    record = strict(data_record(data))
    assert [entry["cause"] for entry in record["ledger"]] == ["feed", "hum"]
    assert record["runs_out"] == {"p05": None, "p50": None, "p95": None}
    assert record["cap_bytes"] == 9e9
    for entry in record["ledger"]:
        assert entry["p05_bytes"] < entry["p50_bytes"] < entry["p95_bytes"]
        assert not entry["asked_for"]
    # what is stated is the mean
    assert record["ledger"][0]["mean_bytes"] == pytest.approx(30 * 90e6)


def test_all_answers_stand_in_the_record():
    link = fit_link(Trace.from_quick_numbers(down_bps=20e6, rtt_s=0.05))
    answer = answer_data(SITE, place=PLACE, used_bytes=2.5e9, task="add")
    record = strict(data_answer_record(with_slowed(answer, link, [128e3])))
    assert record["schema"] == SCHEMA == "linkfit/data/1"
    cycle = record["cycle"]
    assert (cycle["start"], cycle["days"], cycle["used_bytes"]) == ("2026-06-05", 30.0, 2.5e9)
    assert not cycle["used_up"]
    assert "2026-06-14" <= cycle["runs_out_on"]["p05"] <= cycle["runs_out_on"]["p50"]
    assert record["how_often"]["task"] == "add"
    assert record["how_often"]["alone"]["p05_per_day"] > record["how_often"]["besides"][
        "p05_per_day"]  # fmt: skip
    (service,) = record["slowed"][0]["services"]
    assert (service["works_alone"], service["alone"][0]["name"]) == (False, "add")
    assert {s["what"] for s in record["savings"]} == {"hum", "feed"}
    assert record["chance"]["prob_over_low"] <= record["chance"]["prob_over"]
    assert record["plan_sizes"]["exact_bytes"] == record["data"]["smallest_plan_bytes"]


def test_what_was_not_asked_is_null():
    record = strict(data_answer_record(answer_data(replace(SITE, plan=Plan()))))
    for key in ("cycle", "chance", "chance_if_gib", "how_often"):
        assert record[key] is None, key
    assert record["slowed"] == []
    assert record["plan"]["sessions_per_day"] is None
