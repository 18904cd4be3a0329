import os
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from linkfit.errors import InputError
from linkfit.ingest.store import open_store, read_store
from linkfit.probe.recorder_loop import RecordPlan, record

COMMAND = [sys.executable, "-m", "linkfit", "record", "--interface", "lo"]


@pytest.fixture
def plan(tmp_path):
    return RecordPlan(store=tmp_path / "camp.store", interface="lo", most_s=2.0)


@pytest.fixture(autouse=True)
def signals():
    kept = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


def test_it_records_real_counters_until_its_time_is_over(plan, monkeypatch):
    name = str(plan.store.with_name("notify"))
    said = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(name)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        monkeypatch.setattr("linkfit.probe.notify.notify.__defaults__", (os.environ,))
        record(replace(plan, metrics=("127.0.0.1", 0)), say=said.append)
        assert manager.recv(100).startswith(b"READY=1")
        assert manager.recv(100) == b"STOPPING=1"
    assert said[0].startswith("metrics at http://127.0.0.1:")
    with open_store(plan.store) as database:
        kinds = {kind for (kind,) in database.execute("SELECT kind FROM events")}
        assert {"started", "stopped"} <= kinds
    assert len(read_store(plan.store, "camp").throughput) >= 2


def test_an_interface_that_is_none_is_told_at_once(plan):
    with pytest.raises(InputError, match="got 'wwan9'"):
        record(replace(plan, interface="wwan9"))
    assert not plan.store.exists()


def test_sigterm_ends_it_whole_and_light_as_it_was(plan):
    running = subprocess.Popen(
        [*COMMAND, "--store", str(plan.store)], stderr=subprocess.PIPE, text=True
    )
    try:
        assert running.stderr.readline().startswith("recording lo")
        while not plan.store.exists():
            assert running.poll() is None
        loaded = Path(f"/proc/{running.pid}/maps").read_text()
        assert "/pandas/" not in loaded
        assert "/scipy/" not in loaded
        running.send_signal(signal.SIGTERM)
        assert running.wait(10) == 0
    finally:
        running.kill()
        running.wait()
        running.stderr.close()
    with open_store(plan.store) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_second_recorder_is_refused_with_the_first_ones_number(plan):
    from linkfit.probe.store import Store

    store = Store(plan.store)
    done = subprocess.run(
        [*COMMAND, "--store", str(plan.store)], capture_output=True, text=True, check=False
    )
    store.close()
    assert done.returncode == 2
    assert f"process {os.getpid()} holds" in done.stderr
