import json

import pytest

from linkfit.forecast.interactive_forecast import forecast_interactive
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.interactive_json import interactive_record


@pytest.fixture(scope="module")
def record():
    link = fit_link(Trace.from_quick_numbers(up_bps=6e6, rtt_s=0.05))
    return interactive_record(forecast_interactive(link, buffer_bytes=1e3), seed=0)


def test_it_is_json_without_numbers_that_are_none(record):
    assert json.loads(json.dumps(record, allow_nan=False))["schema"] == "linkfit/interactive/1"


def test_every_figure_has_its_interval(record):
    assert len(record["activities"]) == 12
    for one in record["activities"]:
        assert one["p05_s"] <= one["p50_s"] <= one["p95_s"]
        assert one["p95_low_s"] <= one["p95_s"] <= one["p95_high_s"]
        assert one["good_share_low"] <= one["good_share"] <= one["good_share_high"]
        assert ("p50_mos" in one) == (one["activity"] == "voice call")


def test_no_limit_is_null_and_says_that_none_is_needed(record):
    """A buffer of 1 kB delays nothing."""
    added = record["limits"][-1]
    assert (added["keeps"], added["limit_bps"], added["is_needed"]) == ("added delay", None, False)
    assert record["queue"]["source"] == "as stated"
