import json
from datetime import UTC

from linkfit.probe.status import status_of
from linkfit.probe.store import Batch, Store
from linkfit.report.status_json import status_record

DAY_S = 1_781_913_600


def recorded(path, cap_bytes):
    store = Store(path)
    batch = Batch(round_trips=[(DAY_S + 3600.0 * i, float("inf"), False) for i in range(24 * 20)])
    for hour in range(24 * 20):
        batch.add_use(DAY_S + 3600 * hour, 10_000, 0, 3600)
    store.commit(batch)
    store.close()
    return status_record(
        status_of(path, now_s=DAY_S + 86400.0 * 20, cycle_day=1, zone=UTC, cap_bytes=cap_bytes)
    )


def test_what_is_without_end_is_null_and_json_is_plain(tmp_path):
    record = recorded(tmp_path / "camp", 1e9)
    assert record["use"]["exhausted"] == {"p05": None, "p50": None, "p95": None}
    assert record["use"]["exhausted_prob"] == 0.0
    trip = record["changes"][2]
    assert (trip["changed"], trip["before"]["p50"]) == (False, None)
    assert json.loads(json.dumps(record, allow_nan=False))["schema"] == "linkfit/status/1"
    assert record["refit"] is False


def test_dates_follow_from_days(tmp_path):
    record = recorded(tmp_path / "camp", 3_000_000)  # 10 July: 9 days of 240 kB are over
    assert record["use"]["cycle_begin"] == "2026-07-01T00:00:00+00:00"
    assert record["use"]["exhausted"]["p50"] == "2026-07-13T12:00:00+00:00"
