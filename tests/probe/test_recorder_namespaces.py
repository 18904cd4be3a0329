"""The recorder as root: between two namespaces over a shaped link, and on a disk that is full."""

import json
import os
import subprocess
import sys
import time

import pytest

from linkfit.ingest.reader import read_trace
from linkfit.ingest.store import open_store
from linkfit.probe.interface import Counters
from linkfit.probe.recorder import Recorder
from linkfit.probe.recorder_counters import Look
from linkfit.probe.store import Store
from tests.probe.servers import FAR, iperf3_server, run

pytestmark = pytest.mark.root
PORT = 5201
PAYLOAD_OF_FRAME = 1448 / 1514


# the schedule has its own tests: here the day's one moment lies just ahead
_TEST_SOON = """
import sys, time
from linkfit.probe import recorder_tests
soon_s = time.time() + 4
recorder_tests.moments_s = lambda *_, **__: (soon_s,)
from linkfit.cli.app import main
main(sys.argv[1:])
"""


def recorded(namespaces, store, *more):
    """The command that records with one test soon."""
    words = [*namespaces.inside(namespaces.near), sys.executable, "-c", _TEST_SOON, "record",
             "--store", store, "--server", FAR, "--seconds", 3, *more]  # fmt: skip
    return list(map(str, words))


def linkfit(*words):
    done = subprocess.run([sys.executable, "-m", "linkfit", *map(str, words)],
                          capture_output=True, text=True, check=False, timeout=120)  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.slow
def test_what_is_recorded_over_a_shaped_link_is_read_by_every_command(namespaces, tmp_path):
    namespaces.shape(up_bps=8e6, down_bps=24e6)
    store = tmp_path / "camp.store"
    before = namespaces.counted_bytes()
    with iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)):
        for _ in range(2):  # one test each: up, then down
            command = recorded(namespaces, store, "--probe", FAR, "--probe-every", "1 s",
                               "--stop-after", "12 s")  # fmt: skip
            done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
            assert done.returncode == 0, done.stderr
    carried = namespaces.counted_bytes() - before
    with open_store(store) as database:
        tests = database.execute("SELECT is_up, ended, spent_bytes FROM tests").fetchall()
        used = database.execute("SELECT sum(down_bytes + up_bytes) FROM use").fetchone()[0]
    assert [(is_up, ended) for is_up, ended, _ in tests] == [(1, "done"), (0, "done")]
    assert used == pytest.approx(carried, rel=0.01)
    trace = read_trace(store)
    samples = trace.throughput
    for is_up, set_bps in ((True, 8e6), (False, 24e6)):
        rates = samples.take(samples.saturating & (samples.is_up == is_up)).rates_bps
        assert rates.mean() == pytest.approx(set_bps * PAYLOAD_OF_FRAME, rel=0.15)
    assert len(trace.latency) > 11
    status = json.loads(linkfit("status", store, "--cap", "1 GB", "--json"))
    assert status["use"]["tests_bytes"] == sum(spent for _, _, spent in tests)
    assert json.loads(linkfit("inspect", store, "--json"))
    linkfit("fit", store, "-o", tmp_path / "link.json")
    assert "Kestrel Ridge" in linkfit("advise", "examples/kestrel-ridge.toml", store)


@pytest.mark.slow
def test_a_server_that_is_away_and_an_interface_that_goes_and_comes_back(namespaces, tmp_path):
    store = tmp_path / "camp.store"
    command = recorded(namespaces, store, "--interface", namespaces.near_side, "--stop-after",
                       "15 s")  # fmt: skip
    recorder = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    try:
        assert recorder.stderr.readline().startswith("recording")
        time.sleep(9)  # the test finds nobody; then the modem is pulled
        run("ip", "-n", namespaces.near, "link", "del", namespaces.near_side)
        time.sleep(2)
        namespaces.join()
        assert recorder.wait(30) == 0
    finally:
        recorder.kill()
        recorder.wait()
        recorder.stderr.close()
    with open_store(store) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        gone = database.execute("SELECT sum(n) FROM events WHERE kind = 'interface gone'")
        assert 1 <= gone.fetchone()[0] <= 6
        errors = [e for (e,) in database.execute("SELECT error FROM tests")]
    assert len(errors) == 1
    assert errors[0]
    passive = read_trace(store).throughput
    n_up = int(passive.is_up.sum())
    assert 5 <= n_up <= 20  # of 15 s, less the gap and what the tests tell


class Fast:
    def __init__(self):
        self.second, self.received = 1_782_000_000, 0

    def look(self):
        self.second, self.received = self.second + 1, self.received + 1000
        return Look(wall_s=self.second + 0.02, running_s=float(self.second),
                    counters=Counters(received_bytes=self.received, sent_bytes=5))  # fmt: skip


def test_a_disk_that_is_really_full(tmp_path):
    if os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root")
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "none", str(disk)],
                             capture_output=True, check=False)  # fmt: skip
    if mounted.returncode:
        pytest.skip("no disk can be mounted here")
    try:
        said, machine = [], Fast()
        recorder = Recorder(Store(disk / "camp.store"), "wwan0", machine.look, say=said.append)
        recorder.begin()
        for _ in range(100):
            recorder.tick()
        with (disk / "junk").open("wb", buffering=0) as junk:
            try:
                while True:
                    junk.write(bytes(4096))
            except OSError:
                pass
        for _ in range(3000):
            recorder.tick()
        assert any("cannot be written" in text for text in said)
        (disk / "junk").unlink()
        for _ in range(10):
            recorder.tick()
        recorder.end()
        recorder.store.close()
        with open_store(disk / "camp.store") as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            n_seconds = database.execute("SELECT sum(n_seconds) FROM use").fetchone()[0]
        assert n_seconds == 3110
        assert len(read_trace(disk / "camp.store").throughput) == 2 * 3110
    finally:
        run("umount", str(disk))
