import errno
import math
from pathlib import Path

import pytest

from linkfit.errors import InputError
from linkfit.ingest.reader import read_trace
from linkfit.probe.iperf_test import TestOrder, TestOutcome
from linkfit.probe.round_trips import RoundTrip
from linkfit.probe.session import TestDone
from linkfit.probe.session_files import SessionFolder
from tests.probe.test_tested_rates import report


def done(text, *, is_up=True):
    outcome = TestOutcome(
        order=TestOrder(host="x", is_up=is_up), ended="done", report=text, error="", took_s=4.0,
        by="libiperf",
    )  # fmt: skip
    return TestDone(start_s=1_780_000_000.0, outcome=outcome, spent_bytes=1.0)


def test_what_was_kept_is_read_back(tmp_path):
    folder = SessionFolder(tmp_path / "out")
    folder.round_trips((RoundTrip(time_s=1_780_000_000.25, rtt_s=0.055, loaded=False),))
    folder.test(done(report(1e6, 8e6, 6e6)))
    folder.round_trips(
        (
            RoundTrip(time_s=1_780_000_003.5, rtt_s=math.inf, loaded=True),
            RoundTrip(time_s=1_780_000_003.0, rtt_s=0.210, loaded=True),
        )
    )
    trace = read_trace(tmp_path / "out")
    assert trace.throughput.rates_bps.tolist() == pytest.approx([8e6, 6e6])
    assert trace.latency.time_s.tolist() == [1_780_000_000.25, 1_780_000_003.0, 1_780_000_003.5]
    assert trace.latency.rtt_s.tolist() == pytest.approx([0.055, 0.210, math.inf])
    assert trace.latency.n_lost.tolist() == [0, 0, 1]
    assert trace.latency.loaded.tolist() == [False, True, True]


def test_a_test_without_a_report_leaves_no_file(tmp_path):
    SessionFolder(tmp_path / "out").test(done(""))
    assert list((tmp_path / "out").iterdir()) == []


def test_directions_are_in_the_names(tmp_path):
    folder = SessionFolder(tmp_path)
    folder.test(done(report(1e6, 2e6)))
    folder.test(done(report(1e6, 2e6), is_up=False))
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["test-001-up.json", "test-002-down.json"]


def test_sessions_are_not_mixed(tmp_path):
    (tmp_path / "old.csv").write_text("x")
    with pytest.raises(InputError, match="expected a new or an empty folder; name another one"):
        SessionFolder(tmp_path)
    with pytest.raises(InputError, match=r"old.csv: expected a new or an empty folder"):
        SessionFolder(tmp_path / "old.csv")


def test_a_full_disk_is_said_and_leaves_what_was_kept(tmp_path, monkeypatch):
    folder = SessionFolder(tmp_path / "out")
    folder.test(done(report(1e6, 8e6, 6e6)))

    def full(*_args, **_named):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(InputError, match=r"test-002-up\.json: expected room.*'No space left"):
        folder.test(done(report(1e6, 8e6, 6e6)))
    monkeypatch.undo()
    assert len(read_trace(tmp_path / "out").throughput) == 2


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=r"expected a folder that can be made, got 'Not a dir"):
        SessionFolder(tmp_path / "file" / "out")
