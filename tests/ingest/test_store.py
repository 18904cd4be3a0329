import math
import sqlite3

import numpy as np
import pytest

from linkfit.errors import TraceError
from linkfit.ingest.reader import read_trace
from linkfit.ingest.store import open_store, read_store, stored_hours
from linkfit.probe.store import Batch, Event, Store, TestRow

HOUR_S = 1_782_000_000 // 3600 * 3600


@pytest.fixture
def path(tmp_path):
    return tmp_path / "camp.store"


def made(path, batch, packed_s=0.0):
    store = Store(path)
    store.commit(batch)
    store.pack_hours(packed_s)
    store.close()


def test_gaps_are_gaps_and_zeros_are_zeros(path):
    made(path, Batch(seconds=[(HOUR_S, 0, 8), (HOUR_S + 2, 10, 0)]), HOUR_S + 3600)
    samples = read_trace(path).throughput
    down = samples.take(~samples.is_up)
    assert down.start_s.tolist() == [HOUR_S, HOUR_S + 2]
    assert down.bits.tolist() == pytest.approx([0.0, 80.0], rel=3e-4)
    assert not samples.saturating.any()


def test_packed_and_running_hours_read_the_same(path, tmp_path):
    rng = np.random.default_rng(4)
    seconds = [(HOUR_S + i, int(a), int(b)) for i, (a, b) in
               enumerate(rng.lognormal(9, 4, (3600, 2)))]  # fmt: skip
    made(path, Batch(seconds=seconds), HOUR_S + 3600)
    made(tmp_path / "running", Batch(seconds=seconds))
    packed, running = read_trace(path).throughput, read_trace(tmp_path / "running").throughput
    np.testing.assert_array_equal(packed.bits, running.bits)
    np.testing.assert_array_equal(packed.start_s, running.start_s)


def test_seconds_of_a_test_are_told_by_the_test_alone(path):
    test = TestRow(start_s=HOUR_S + 10.4, took_s=3.0, is_up=True, ended="done", spent_bytes=9,
                   error="refused", report="")  # fmt: skip
    made(path, Batch(seconds=[(HOUR_S + s, 5, 5) for s in range(20)], tests=[test]))
    trace = read_trace(path)
    up = trace.throughput.take(trace.throughput.is_up)
    assert up.start_s.tolist() == [HOUR_S + s for s in range(20) if not 10 <= s <= 13]
    assert [f.kind for f in trace.findings] == ["failed tests"]


def test_round_trips_with_losses(path):
    trips = [(HOUR_S + 1.5, 0.05, False), (HOUR_S + 2.5, math.inf, True)]
    made(path, Batch(round_trips=trips))
    latency = read_trace(path).latency
    assert latency.rtt_s.tolist() == [0.05, math.inf]
    assert latency.loaded.tolist() == [False, True]
    assert latency.loss_frac == 0.5


def test_events_are_findings_with_their_number(path):
    events = [Event(time_s=1.0, kind="interface gone", n=3, text="gaps"),
              Event(time_s=2.0, kind="interface gone", n=4, text="gaps"),
              Event(time_s=3.0, kind="started")]  # fmt: skip
    made(path, Batch(seconds=[(HOUR_S, 1, 1)], events=events))
    (finding,) = read_trace(path).findings
    assert (finding.kind, finding.n_samples) == ("interface gone", 7)


def test_it_is_read_while_it_is_written(path):
    store = Store(path)
    store.commit(Batch(seconds=[(HOUR_S, 1, 1)]))
    assert len(read_trace(path).throughput) == 2
    store.close()


def test_a_folder_passes_over_what_lies_beside_a_store(path):
    store = Store(path)
    store.commit(Batch(seconds=[(HOUR_S, 1, 1)]))
    assert len(read_trace(path.parent).throughput) == 2  # with -wal, -shm and .lock beside it
    store.close()


def test_an_empty_a_newer_and_a_damaged_store_are_refused(path):
    made(path, Batch())
    with pytest.raises(TraceError, match="got an empty store"):
        read_store(path, "camp")
    database = sqlite3.connect(path)
    database.execute("PRAGMA user_version = 42")
    database.close()
    with pytest.raises(TraceError, match="got 42"):
        read_trace(path)
    broken = path.with_name("broken")
    broken.write_bytes(path.read_bytes()[:100] + b"\xff" * 20_000)
    with pytest.raises(TraceError, match="broken"):
        read_trace(broken)


def test_rates_of_hours_hold_nan_for_gaps(path):
    made(path, Batch(seconds=[(HOUR_S + 5, 100, 200)]), HOUR_S + 3600)
    with open_store(path) as database:
        (hours,) = stored_hours(database)
    rates = hours.rates_bytes_per_s(is_up=True)
    assert rates.shape == (1, 3600)
    assert rates[0, 5] == pytest.approx(200, rel=3e-4)
    assert np.isnan(np.delete(rates[0], 5)).all()
