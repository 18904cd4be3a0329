import math

import pytest

from linkfit.ingest.store import open_store, read_store, stored_hours
from linkfit.probe import store_thinning
from linkfit.probe.store import Batch, Store
from linkfit.probe.store_thinning import thin, used_bytes

START_S = 1_782_000_000 // 3600 * 3600
N_HOURS = 30
AT_ONCE = 24


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setattr(store_thinning, "_HOURS_AT_ONCE", AT_ONCE)
    store = Store(tmp_path / "camp.store")
    for hour in range(N_HOURS):
        begin_s = START_S + 3600 * hour
        batch = Batch(
            seconds=[(begin_s + s, 1000 + hour, 10) for s in range(0, 3600, 1 + hour % 2)]
        )
        batch.add_use(begin_s, 3_600_000, 36_000, 3600)
        batch.round_trips = [(begin_s + 60.0 * i, 0.05 if i % 3 else math.inf, False)
                             for i in range(60)]  # fmt: skip
        store.commit(batch)
    store.pack_hours(START_S + 3600 * N_HOURS)
    yield store
    store.close()


def test_a_store_within_its_size_is_left_alone(store):
    assert thin(store.database, 1e9, 0.0) == 0


def test_the_oldest_detail_goes_first_and_is_counted(store):
    before = used_bytes(store.database)
    n_hours = thin(store.database, before * 0.7, 123.0)
    assert n_hours == AT_ONCE
    assert used_bytes(store.database) <= before * 0.7
    steps = store.database.execute("SELECT step_s FROM hours ORDER BY start_s").fetchall()
    assert [s for (s,) in steps] == [10] * n_hours + [1] * (N_HOURS - n_hours)
    assert store.database.execute("SELECT kind, n FROM events").fetchall() == [
        ("averaged", n_hours)
    ]
    # bytes of use stay whole, and so do probes and losses
    assert store.database.execute("SELECT sum(down_bytes) FROM use").fetchone()[0] == (
        3_600_000 * N_HOURS
    )
    sums = store.database.execute("SELECT sum(n_probes), sum(n_lost) FROM round_trips").fetchone()
    assert sums == (60 * N_HOURS, 20 * N_HOURS)


def test_it_ends_when_nothing_is_left_to_average(store):
    n_hours = thin(store.database, 1.0, 0.0)
    assert n_hours == 3 * N_HOURS  # to 10 s, 60 s and 600 s
    with open_store(store.path) as database:
        (hours,) = stored_hours(database)
    assert hours.step_s == 600
    rates = hours.rates_bytes_per_s(is_up=False)
    assert rates[3] == pytest.approx(1003, rel=2e-3)


def test_the_reader_says_what_was_averaged(store):
    thin(store.database, 1.0, 0.0)
    trace = read_store(store.path, "camp")
    (repair,) = trace.repairs
    assert repair.kind == "averaged to 600 s"
    assert (trace.throughput.duration_s == 600).all()
    burst = trace.latency.take(trace.latency.n_probes > 1)
    assert burst.rtt_s[0] == pytest.approx(0.05)
