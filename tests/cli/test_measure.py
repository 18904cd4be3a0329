"""``linkfit measure`` in this process, against real servers on the loopback."""

import json

import pytest

from linkfit.probe import session as session_module
from tests.probe.conftest import iperf3, server  # noqa: F401  (fixtures)
from tests.probe.servers import free_port


@pytest.fixture(autouse=True)
def quick_probes(monkeypatch):
    monkeypatch.setattr(session_module, "_IDLE_PROBES", 3)


def test_a_session_is_told_and_kept(run, server, tmp_path):  # noqa: F811
    out = tmp_path / "out"
    code, text, err = run("measure", "--server", f"127.0.0.1:{server}", "--budget", "4 MB",
                          "--seconds", 2, "--way", "down", "--out", out)  # fmt: skip
    assert code == 0, err
    assert "TCP down, 1 stream" in text
    assert "test 1 of 1" in err
    assert {path.name for path in out.iterdir()} == {"test-001-down.json", "round-trips.csv"}


def test_no_figure_is_exit_2_and_keeps_round_trips(run, iperf3, tmp_path):  # noqa: F811
    out = tmp_path / "out"
    code, text, err = run("measure", "--server", f"127.0.0.1:{free_port()}", "--budget", "4 MB",
                          "--out", out, "--json")  # fmt: skip
    assert code == 2
    assert "start a server on that machine with iperf3 -s" in err
    record = json.loads(text)
    assert record["ended"] == "failed"
    assert record["round_trips"]["idle"]["n_probes"] >= 2
    assert (out / "round-trips.csv").exists()


def test_options_that_cannot_be(run, tmp_path):
    code, _, err = run("measure", "--server", "x", "--budget", "lots", "--way", "out",
                       "--out", tmp_path / "out")  # fmt: skip
    assert code == 2
    assert "--budget" in err
    assert "--way" in err
    assert not (tmp_path / "out").exists()


def test_a_folder_in_use_is_refused_before_anything_is_sent(run, tmp_path):
    (tmp_path / "old.csv").write_text("x")
    code, _, err = run("measure", "--server", "127.0.0.1", "--budget", "4 MB", "--out", tmp_path)
    assert code == 2
    assert "name another one" in err
