import json
import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from linkfit.errors import TraceError
from linkfit.probe.status import status_of
from linkfit.probe.store import Batch, Event, Store, TestRow

DAY_S = datetime(2026, 6, 5, tzinfo=UTC).timestamp()
N_DAYS = 40


def report(rate_bps, start_s):
    """A test of 5 s as iperf3 reports it."""
    intervals = [
        {"streams": [], "sum": {"start": i, "end": i + 1, "seconds": 1, "bytes": rate_bps / 8,
                                "bits_per_second": rate_bps, "omitted": False, "sender": True}}
        for i in range(5)
    ]  # fmt: skip
    start = {"version": "iperf 3.12", "timestamp": {"timesecs": int(start_s)},
             "test_start": {"protocol": "TCP", "num_streams": 1, "reverse": 0, "duration": 5},
             "connected": [{"socket": 5}]}  # fmt: skip
    return json.dumps({"start": start, "intervals": intervals, "end": {}})


@pytest.fixture
def path(tmp_path):
    """40 days; on the 25th the round trip grows from 50 to 80 ms and rates up fall by half."""
    rng = np.random.default_rng(5)
    store = Store(tmp_path / "camp.store")
    for day in range(N_DAYS):
        begin_s = DAY_S + 86400.0 * day
        batch, is_new = Batch(meta={"counters": "wwan0 a 1 2"}), day >= 25
        for hour in range(24):
            batch.add_use(begin_s + 3600 * hour, 50_000_000, 10_000_000, 3600)
        batch.round_trips = [
            (begin_s + 3600.0 * i, (0.08 if is_new else 0.05) * rng.lognormal(0, 0.05), False)
            for i in range(24)
        ]
        for is_up, rate_bps in ((True, 3e6 if is_new else 6e6), (False, 2e7)):
            text = report(rate_bps * rng.lognormal(0, 0.1), begin_s)
            batch.tests.append(
                TestRow(start_s=begin_s + 7200 + is_up, took_s=6.0, is_up=is_up, ended="done",
                        spent_bytes=4_000_000, error="", report=text)
            )  # fmt: skip
        store.commit(batch)
    end_s = int(DAY_S + 86400 * N_DAYS)
    store.commit(Batch(seconds=[(end_s + s, 5, 5) for s in range(30)],
                       events=[Event(time_s=end_s, kind="interface gone", n=4)]))  # fmt: skip
    store.close()
    return store.path


def looked(path, *, at_s=DAY_S + 86400 * N_DAYS + 40, **more):
    return status_of(path, now_s=at_s, cycle_day=5, zone=UTC, **more)


def test_what_is_used_and_when_the_cap_is_reached(path):
    # a cycle began on 5 July, the 31st day; 10 days of 24 * 60 MB = 1.44 GB are over on the 15th
    status = looked(path, cap_bytes=20e9)
    assert status.use.begin_s == datetime(2026, 7, 5, tzinfo=UTC).timestamp()
    assert status.use.counted_bytes("both") == pytest.approx(10 * 1.44e9)
    assert status.use.counted_bytes("down") == pytest.approx(10 * 1.2e9)
    assert status.use.tests_bytes == 10 * 8e6
    assert status.use.watched_frac == pytest.approx(1.0, abs=1e-3)
    assert status.n_days == 40
    left_days = (20e9 - 10 * 1.44e9) / 1.44e9
    assert status.exhaustion.days == pytest.approx((left_days,) * 3, abs=1e-3)


def test_only_what_the_plan_counts_is_held_against_it(path):
    assert looked(path, cap_bytes=20e9, counted="up").exhaustion.prob == 0


def test_what_changed_and_what_did_not(path):
    up, down, trip = looked(path).series
    changed_s = DAY_S + 25 * 86400
    assert (up.has_changed, up.change_s) == (True, changed_s)
    assert up.change.before[1] / up.change.after[1] == pytest.approx(2, rel=0.1)
    assert not down.has_changed
    assert down.change.p > 0.01
    assert trip.has_changed
    assert trip.change.after[1] == pytest.approx(0.08, rel=0.03)
    assert looked(path).refit_since_s == changed_s


def test_before_the_change_there_was_none(path):
    status = looked(path, at_s=DAY_S + 20 * 86400 + 60)
    assert [s.n_days for s in status.series] == [20, 20, 20]
    assert status.refit_since_s is None
    assert status.use.counted_bytes("both") == pytest.approx(20 * 1.44e9, rel=0.005)


def test_few_days_tell_nothing(path):
    status = looked(path, at_s=DAY_S + 86400 * 2 + 60, cap_bytes=1e9)
    assert all(series.change is None for series in status.series)
    assert status.exhaustion is None


def test_what_was_seen_last(path):
    status = looked(path)
    assert status.interface == "wwan0"
    assert status.now_s - status.last_s == 11
    assert status.n_events == {"interface gone": 4}
    assert status.last_test_s == DAY_S + 39 * 86400 + 7201


def test_an_empty_store_is_a_state_and_no_store_an_error(tmp_path):
    Store(tmp_path / "new").close()
    status = status_of(tmp_path / "new", now_s=DAY_S, cycle_day=1, zone=ZoneInfo("UTC"))
    assert status.last_s is None
    assert status.use.counted_bytes("both") == 0
    with pytest.raises(TraceError, match="unable to open"):
        status_of(tmp_path / "none", now_s=DAY_S, cycle_day=1, zone=ZoneInfo("UTC"))


def test_days_without_answers_are_the_worst_of_all(tmp_path):
    store = Store(tmp_path / "camp")
    trips = [(DAY_S + 3600.0 * i, 0.05 if i < 24 * 12 else math.inf, False) for i in range(24 * 24)]
    store.commit(Batch(round_trips=trips))
    store.close()
    status = looked(tmp_path / "camp", at_s=DAY_S + 24 * 86400)
    trip = status.series[2]
    assert trip.has_changed
    assert trip.change.after[1] == math.inf
