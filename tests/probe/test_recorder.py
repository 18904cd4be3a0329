import math
import sqlite3
from collections import deque

import pytest

from linkfit.errors import InputError
from linkfit.ingest.store import read_store
from linkfit.probe import recorder as recorder_module
from linkfit.probe.interface import Counters
from linkfit.probe.recorder import Clocks, Recorder, boot_id, look_at
from linkfit.probe.recorder_counters import Look
from linkfit.probe.store import Store, TestRow

T = 1_782_000_000


class Machine:
    """Counters and clocks that a test moves."""

    def __init__(self):
        self.wall_s, self.running_s, self.received, self.sent = T + 0.02, 100.0, 1000, 2000
        self.is_there = True

    def look(self):
        counters = Counters(received_bytes=self.received, sent_bytes=self.sent)
        return Look(wall_s=self.wall_s, running_s=self.running_s,
                    counters=counters if self.is_there else None)  # fmt: skip

    def second(self, down=100, up=10):
        self.wall_s, self.running_s = self.wall_s + 1, self.running_s + 1
        self.received, self.sent = self.received + down, self.sent + up


@pytest.fixture
def machine():
    return Machine()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "camp.store"


def started(path, machine, *, boot="a", **more):
    recorder = Recorder(Store(path), "wwan0", machine.look, boot=boot, **more)
    recorder.begin()
    return recorder


def run(recorder, machine, n):
    for _ in range(n):
        machine.second()
        recorder.tick()


def use(recorder):
    row = recorder.store.database.execute(
        "SELECT sum(down_bytes), sum(up_bytes), sum(n_seconds) FROM use"
    )
    return row.fetchone()


def events(recorder):
    rows = recorder.store.database.execute("SELECT kind, sum(n) FROM events GROUP BY kind")
    return dict(rows.fetchall())


def held(recorder):
    rows = recorder.store.database.execute("SELECT start_s FROM recent ORDER BY start_s")
    return [s - T for (s,) in rows]


def test_seconds_are_committed_every_few(path, machine):
    recorder = started(path, machine, flush_s=5)
    run(recorder, machine, 9)
    assert held(recorder) == [0, 1, 2, 3, 4]
    recorder.end()
    assert held(recorder) == list(range(9))
    assert use(recorder) == (900, 90, 9)
    assert events(recorder) == {"started": 1, "stopped": 1}


def test_an_interface_that_goes_and_comes_back_leaves_a_gap(path, machine):
    recorder = started(path, machine, flush_s=1)
    run(recorder, machine, 3)
    machine.is_there = False
    run(recorder, machine, 4)
    machine.is_there, machine.received, machine.sent = True, 0, 0
    run(recorder, machine, 3)
    assert held(recorder) == [0, 1, 2, 8, 9]
    recorder.end()
    assert events(recorder)["interface gone"] == 5


def test_a_clock_set_back_loses_no_committed_second(path, machine):
    recorder = started(path, machine, flush_s=1)
    run(recorder, machine, 10)
    before = recorder.store.database.execute("SELECT * FROM recent").fetchall()
    machine.wall_s -= 5
    run(recorder, machine, 10)
    after = recorder.store.database.execute("SELECT * FROM recent").fetchall()
    assert after[:10] == before
    assert held(recorder) == list(range(15))
    assert use(recorder)[0] == 2000  # every byte, whatever the clock said
    recorder.end()
    found = events(recorder)
    assert found["clock set back"] == 1
    assert found["recorded before"] == 4


def test_a_clock_set_forward_and_suspend_leave_gaps(path, machine):
    recorder = started(path, machine, flush_s=1)
    run(recorder, machine, 2)
    machine.wall_s += 7200
    run(recorder, machine, 2)
    machine.wall_s, machine.running_s = machine.wall_s + 600, machine.running_s + 600
    run(recorder, machine, 2)
    recorder.end()
    trace = read_store(path, "camp").throughput
    down = trace.take(~trace.is_up)
    assert (down.start_s - T).tolist() == [0, 1, 7203, 7805]
    assert (down.bits > 0).all()
    assert use(recorder)[0] == 600


def test_a_full_disk_is_waited_for_and_nothing_is_lost(path, machine):
    said = []
    recorder = started(path, machine, flush_s=5, say=said.append)
    run(recorder, machine, 5)
    database = recorder.store.database
    database.execute(
        f"PRAGMA max_page_count = {database.execute('PRAGMA page_count').fetchone()[0]}"
    )
    run(recorder, machine, 1500)
    assert len(held(recorder)) < 1505
    assert [text.split(": ")[1][:17] for text in said] == ["cannot be written"]
    recorder.keep_round_trip(machine.wall_s, 0.05)
    database.execute("PRAGMA max_page_count = 1000000")
    run(recorder, machine, 5)
    assert "written again" in said[-1]
    recorder.end()
    trace = read_store(path, "camp")
    assert len(trace.throughput) == 2 * 1510
    assert len(trace.latency) == 1
    assert use(recorder) == (151_000, 15_100, 1510)


def test_a_disk_that_stays_full_costs_the_oldest_seconds_and_says_so(path, machine, monkeypatch):
    monkeypatch.setattr(recorder_module, "_MOST_PENDING", 20)
    recorder = started(path, machine, flush_s=5)
    broken = recorder.store.commit
    recorder.store = _Full(recorder.store)
    run(recorder, machine, 50)
    recorder.store = recorder.store.store
    assert broken is not None
    recorder.end()
    assert held(recorder) == list(range(30, 50))
    assert events(recorder)["could not be written"] == 30
    assert use(recorder)[0] == 5000


class _Full:
    def __init__(self, store):
        self.store, self.path = store, store.path

    def commit(self, batch):
        raise sqlite3.OperationalError("database or disk is full")


def test_bytes_between_two_recorders_are_use(path, machine):
    recorder = started(path, machine)
    recorder.end()
    recorder.store.close()
    machine.received += 5000
    again = started(path, machine)
    assert use(again) == (5000, 0, 0)
    again.end()
    again.store.close()
    machine.received, machine.sent = 70, 7  # another start of the machine: counters from 0
    third = started(path, machine, boot="b")
    assert use(third) == (5070, 7, 0)
    third.store.close()


def test_a_test_that_nobody_ended_is_counted_as_dear_as_it_can_have_been(path, machine):
    recorder = started(path, machine)
    recorder._pending.meta["running test"] = f"{T} up 3000000"
    recorder.commit()
    recorder.store.close()  # killed
    machine.received += 2_000_000
    again = started(path, machine)
    row = again.store.database.execute("SELECT ended, spent_bytes, is_up FROM tests").fetchall()
    assert row == [("killed", 2_000_000, 1)]
    again.store.close()
    third = started(path, machine)
    assert third.store.database.execute("SELECT count(*) FROM tests").fetchone() == (1,)
    third.store.close()


def test_round_trips_tests_and_figures(path, machine):
    recorder = started(path, machine)
    recorder.keep_round_trip(T + 0.5, 0.05)
    recorder.keep_round_trip(T + 1.5, math.inf)
    recorder.keep_test(TestRow(start_s=T, took_s=1.0, is_up=True, ended="done", spent_bytes=77,
                               error="", report=""))  # fmt: skip
    run(recorder, machine, 3)
    figures = recorder.figures()
    assert figures["pending_seconds"] == 3
    assert figures["round_trip_seconds"] == 0.05
    assert (figures["round_trips"], figures["round_trips_lost"]) == (2, 1)
    assert figures["test_cost_bytes"] == 77
    recorder.end()
    assert recorder.figures()["observed_seconds"] == 3


@pytest.mark.parametrize("error", [InputError("gone"), OSError("no"), ValueError("NaN")])
def test_a_look_survives_what_the_driver_says(monkeypatch, error):
    def fails(_interface):
        raise error

    monkeypatch.setattr(recorder_module, "read_counters", fails)
    clocks = Clocks(wall_s=deque([5.0]).pop, running_s=deque([6.0]).pop)
    assert look_at("wwan0", clocks) == Look(wall_s=5.0, running_s=6.0, counters=None)


def test_no_boot_id_is_no_fault(tmp_path):
    assert boot_id(tmp_path / "none") == ""
