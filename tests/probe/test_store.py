import math
import sqlite3

import numpy as np
import pytest

from linkfit.errors import ArtifactError, InputError
from linkfit.ingest import store_format
from linkfit.ingest.store import read_store
from linkfit.probe.store import Batch, Event, Store

HOUR_S = 1_782_000_000 // 3600 * 3600


@pytest.fixture
def path(tmp_path):
    return tmp_path / "camp.store"


def test_commits_are_on_the_disk_when_they_return(path):
    store = Store(path)
    assert store.database.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    assert store.database.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    store.close()


def test_seconds_that_are_held_stay_and_are_counted(path):
    store = Store(path)
    assert store.commit(Batch(seconds=[(HOUR_S, 5, 6)])) == 0
    assert store.commit(Batch(seconds=[(HOUR_S, 9, 9), (HOUR_S + 1, 1, 1)])) == 1
    rows = store.database.execute("SELECT * FROM recent ORDER BY start_s").fetchall()
    assert rows == [(HOUR_S, 5, 6), (HOUR_S + 1, 1, 1)]
    store.close()


def test_a_batch_that_cannot_be_written_is_not_written_in_part(path):
    store = Store(path)
    bad = Batch(seconds=[(HOUR_S, 5, 6)], events=[Event(time_s=0.0, kind=None)])  # NOT NULL
    with pytest.raises(sqlite3.IntegrityError, match="kind"):
        store.commit(bad)
    assert store.database.execute("SELECT count(*) FROM recent").fetchone() == (0,)
    assert store.commit(Batch(seconds=[(HOUR_S, 5, 6)])) == 0
    store.close()


def test_a_full_disk_takes_nothing_back(path):
    store = Store(path)
    store.commit(Batch(seconds=[(HOUR_S + s, 5, 6) for s in range(100)]))
    pages = store.database.execute("PRAGMA page_count").fetchone()[0]
    store.database.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(sqlite3.OperationalError, match="full"):
        store.commit(Batch(seconds=[(HOUR_S + 1000 + s, 5, 6) for s in range(5000)]))
    store.database.execute("PRAGMA max_page_count = 100000")
    assert store.database.execute("SELECT count(*) FROM recent").fetchone() == (100,)
    assert store.database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    store.close()


def test_hours_are_packed_once_over_and_filled_when_the_clock_comes_back(path):
    store = Store(path)
    store.commit(Batch(seconds=[(HOUR_S + 1, 5, 6), (HOUR_S + 3600, 7, 8)]))
    assert store.pack_hours(HOUR_S + 3601) == 1
    store.commit(Batch(seconds=[(HOUR_S + 1, 99, 99), (HOUR_S + 2, 1, 2)]))
    assert store.pack_hours(HOUR_S + 3601) == 1
    trace = read_store(path, "camp").throughput
    down = trace.take(~trace.is_up)
    assert dict(zip(down.start_s, np.rint(down.bits / 8), strict=True)) == {
        HOUR_S + 1: 5, HOUR_S + 2: 1, HOUR_S + 3600: 7,
    }  # fmt: skip
    store.close()


def test_use_is_added_up_in_whole_bytes(path):
    store = Store(path)
    for _ in range(3):
        batch = Batch()
        batch.add_use(HOUR_S + 17.5, 2**40 + 1, 3, 1)
        store.commit(batch)
    assert store.database.execute("SELECT * FROM use").fetchall() == [(HOUR_S, 3 * 2**40 + 3, 9, 3)]
    store.close()


def test_version_0_is_migrated_and_keeps_its_seconds(path):
    database = sqlite3.connect(path)
    store_format.create(database, version=0)
    database.execute("INSERT INTO recent VALUES (?, 5, 6)", (HOUR_S,))
    database.commit()
    database.close()
    assert len(read_store(path, "camp").throughput) == 2  # read without being changed
    store = Store(path)
    assert store.n_migrated == store_format.VERSION
    store.commit(Batch(round_trips=[(HOUR_S + 0.5, math.inf, True)]))
    store.close()
    trace = read_store(path, "camp")
    assert len(trace.throughput) == 2
    assert trace.latency.n_lost.tolist() == [1]


def test_a_newer_version_a_foreign_database_and_no_database_are_refused(path):
    store = Store(path)
    store.database.execute("PRAGMA user_version = 99")
    store.close()
    with pytest.raises(ArtifactError, match="got 99"):
        Store(path)
    other = path.with_name("other.db")
    database = sqlite3.connect(other)
    database.execute("CREATE TABLE x (y)")
    database.close()
    with pytest.raises(ArtifactError, match="another database"):
        Store(other)
    text = path.with_name("text")
    text.write_text("time,rate\n" * 100)
    with pytest.raises(ArtifactError, match="not a database"):
        Store(text)


def test_a_refused_store_is_not_left_locked(path):
    path.write_text("no database\n" * 100)
    for _ in range(2):
        with pytest.raises(ArtifactError, match="not a database"):
            Store(path)


def test_a_second_recorder_is_refused(path):
    store = Store(path)
    with pytest.raises(InputError, match="nobody records into"):
        Store(path)
    store.close()
