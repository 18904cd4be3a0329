"""The child alone: what it leaves in its file, and that nothing of it reaches anybody else."""

import json
import subprocess
import sys
from dataclasses import asdict

import pytest

from linkfit.probe.iperf_test import TestOrder
from tests.probe.servers import free_port


def spec(**given):
    order = TestOrder(host="127.0.0.1", duration_s=1, **given)
    return json.dumps({**asdict(order), "block_bytes": order.block_bytes})


def run_child(tmp_path, text, *, env=None):
    out = tmp_path / "report.json"
    command = [sys.executable, "-m", "linkfit.probe.iperf_child", text, str(out)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False, env=env)
    return done, json.loads(out.read_text())


@pytest.mark.parametrize("is_up", [True, False])
def test_a_test_leaves_a_whole_report_and_prints_nothing(server, tmp_path, is_up):
    done, report = run_child(
        tmp_path, spec(port=server, is_up=is_up, most_payload_bytes=2_000_000, n_streams=2)
    )
    assert (done.returncode, done.stdout) == (0, "")
    assert report["start"]["test_start"]["reverse"] == (not is_up)
    assert report["start"]["test_start"]["num_streams"] == 2
    assert report["end"]["sum_sent"]["bytes"] >= 1_900_000
    assert "Accepted connection from 127.0.0.1" in report["server_output_text"]


def test_a_refusal_is_a_report_with_an_error(iperf3, tmp_path):
    done, report = run_child(tmp_path, spec(port=free_port()))
    assert done.returncode == 0
    assert "refused" in report["error"].lower()


def test_a_library_that_is_missing_is_said(tmp_path):
    (tmp_path / "iperf3.py").write_text("raise OSError('no libiperf here')\n")
    path = f"{tmp_path}:{':'.join(p for p in sys.path if p)}"
    _, report = run_child(tmp_path, spec(port=5201), env={"PYTHONPATH": path, "PATH": ""})
    assert report == {"linkfit_no_library": "no libiperf here"}
