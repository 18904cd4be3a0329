import json

from linkfit.ingest.summary import summarise
from linkfit.ingest.trace import Trace
from linkfit.report.trace_json import inspect_record, plain_value


def test_plain_values():
    assert plain_value((1.5, float("inf"), "a", None, True)) == [1.5, None, "a", None, True]


def test_the_record_can_be_written_and_names_each_source():
    trace = Trace.from_rates([1e6, 0.0], direction="down", name="a.csv")
    record = inspect_record(trace, summarise(trace))
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert record["schema"] == "linkfit/inspect/1"
    assert record["throughput"][0]["rate_bps"] == {"p05": 0.0, "p50": 0.0, "p95": 1e6}
    assert record["sources"][0]["name"] == "a.csv"
