"""Kill -9 at random points of a recorder that writes as fast as it can: what it said it had
committed is there, and the file is whole."""

import os
import random
import signal
import struct
import time

import pytest

from linkfit.ingest.store import open_store
from linkfit.ingest.store_format import GAP, HOUR_S, unpack
from linkfit.probe.interface import Counters
from linkfit.probe.recorder import Recorder
from linkfit.probe.recorder_counters import Look
from linkfit.probe.store import Store

N_KILLS = 200
FIRST_S = 1_782_000_000 // HOUR_S * HOUR_S


class Fast:
    """A machine whose seconds last as long as recording them takes."""

    def __init__(self, second, received):
        self.second, self.received = second, received

    def look(self):
        self.second += 1
        self.received += 1000 + self.second % 7
        return Look(wall_s=self.second + 0.02, running_s=float(self.second),
                    counters=Counters(received_bytes=self.received, sent_bytes=5))  # fmt: skip


def record_until_killed(path, second, received, acknowledge):
    """In a child: tell through a pipe how far the store has been written, after it was."""
    machine = Fast(second, received)
    recorder = Recorder(Store(path, most_bytes=1.3e5), "wwan0", machine.look, boot="a", flush_s=20)
    recorder.begin()
    while True:
        for _ in range(20):
            recorder.tick()
        os.write(acknowledge, struct.pack("qq", machine.second, machine.received))
        recorder.keep_round_trip(machine.second, 0.05)


def killed_once(path, second, received, after_s):
    """Where the recorder had got to, by its own word, when it was killed."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            record_until_killed(path, second, received, writing)
        finally:
            os._exit(1)
    os.close(writing)
    last = os.read(reading, 16)  # it has written something
    time.sleep(after_s)  # the random point is what is tested
    os.kill(child, signal.SIGKILL)
    assert os.waitpid(child, 0)[1] == signal.SIGKILL
    rest = b""
    while piece := os.read(reading, 65536):
        rest += piece
    os.close(reading)
    whole = last + rest
    return struct.unpack("qq", whole[len(whole) // 16 * 16 - 16 : len(whole) // 16 * 16])


def seconds_held(database):
    """Seconds at 1 s, and how many more are within averages."""
    held = {s for (s,) in database.execute("SELECT start_s FROM recent")}
    for start_s, codes in database.execute("SELECT start_s, codes FROM hours WHERE step_s = 1"):
        down = unpack(codes)[:HOUR_S]
        held |= {start_s + i for i, code in enumerate(down) if code != GAP}
    n_averaged = database.execute("SELECT ifnull(sum(n_seconds), 0) FROM hours WHERE step_s > 1")
    last_averaged_s = database.execute("SELECT ifnull(max(start_s), 0) FROM hours WHERE step_s > 1")
    return held, n_averaged.fetchone()[0], last_averaged_s.fetchone()[0] + HOUR_S


@pytest.mark.slow
def test_no_committed_second_is_lost_in_200_kills(tmp_path):
    path, draw = tmp_path / "camp.store", random.Random(9)
    second, received, promised = FIRST_S, 0, []
    for _ in range(N_KILLS):
        begun = second
        second, received = killed_once(path, second, received, draw.uniform(0.0, 0.02))
        # the seconds between two looks: the first look of each recorder only begins
        promised.append((begun + 1, second))
        with open_store(path) as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            held, n_averaged, averaged_until_s = seconds_held(database)
            use_s = database.execute("SELECT sum(n_seconds) FROM use").fetchone()[0]
        expected = {s for begin, end in promised for s in range(begin, end)}
        assert {s for s in expected if s >= averaged_until_s} <= held
        assert len(held) + n_averaged >= len(expected)
        assert use_s >= len(expected)
        second = max(max(held) + 1, second)  # what was written after its last word counts too
    assert len(expected) > 50 * N_KILLS
    assert n_averaged > 0  # it was thinned on the way
