import json

import pytest

from linkfit.forecast.stream_forecast import forecast_streams
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.streams_json import streams_record


@pytest.fixture(scope="module")
def record():
    link = fit_link(Trace.from_quick_numbers(up_bps=1e6))
    return streams_record(forecast_streams(link, cap_bytes=10e9, session_s=600.0), seed=0)


def test_it_is_json_without_numbers_that_are_none(record):
    again = json.loads(json.dumps(record, allow_nan=False))
    assert again["schema"] == "linkfit/streams/1"
    assert again["films"]["session_s"] == 600.0


def test_every_figure_has_its_interval(record):
    assert [one["name"] for one in record["films"]["streams"]][:2] == ["360p", "480p"]
    for one in (*record["films"]["streams"], *record["cameras"]["streams"]):
        assert one["good_share_low"] <= one["good_share"] <= one["good_share_high"]
        assert one["n_at_once_low"] <= one["n_at_once"] <= one["n_at_once_high"]
        assert one["still_s_per_hour"]["p05_s"] <= one["still_s_per_hour"]["p95_s"]


def test_films_that_may_start_an_hour_follow_from_those_at_once(record):
    for one in record["films"]["streams"]:
        assert one["starts_per_h_low"] <= one["starts_per_h"] <= one["starts_per_h_high"]
        assert (one["starts_per_h"] > 0) == (one["n_at_once"] > 0)


def test_minutes_of_cameras_are_seconds_a_month(record):
    feed = record["cameras"]["streams"][0]
    assert feed["month"] is None
    assert feed["month_alone"]["p05_s"] < feed["month_alone"]["p95_s"]
