"""Real tests on the loopback, and everything that may go wrong with a server."""

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from linkfit.errors import InputError
from linkfit.probe.iperf_test import TestOrder, first_report, run_test
from linkfit.probe.server_faults import fault_of
from linkfit.probe.tested_rates import rates_tested_bps
from tests.probe.servers import free_port, iperf3_server, started, wait_until


def order(port, **given):
    given = {"duration_s": 1, "most_payload_bytes": 4_000_000, "grace_s": 3.0, **given}
    return TestOrder(host="127.0.0.1", port=port, **given)


@pytest.mark.parametrize("use_library", [True, False])
@pytest.mark.parametrize("is_up", [True, False])
@pytest.mark.parametrize("n_streams", [1, 4])
def test_tcp_ends_at_its_bytes(server, use_library, is_up, n_streams):
    outcome = run_test(order(server, is_up=is_up, n_streams=n_streams), use_library=use_library)
    assert (outcome.ended, outcome.error) == ("done", "")
    assert outcome.by == ("libiperf" if use_library else "iperf3 program")
    end = json.loads(outcome.report)["end"]
    # a block that has begun is sent whole on each stream; what a server sends is stopped by the
    # client's word, which takes a moment: bounded by the interface where it matters
    most = 4_000_000 + n_streams * 16_384 if is_up else 400_000_000
    assert 4_000_000 - n_streams * 16_384 <= end["sum_sent"]["bytes"] <= most


def test_it_ends_at_its_time_if_that_comes_first(server):
    outcome = run_test(order(server, udp_rate_bps=1e6))
    assert outcome.ended == "done"
    assert outcome.took_s < 5
    assert json.loads(outcome.report)["end"]["sum"]["bytes"] == pytest.approx(125_000, rel=0.05)


@pytest.mark.parametrize("is_up", [True, False])
def test_datagrams_fit_into_packets_and_keep_their_rate(server, is_up):
    outcome = run_test(order(server, udp_rate_bps=4e6, is_up=is_up))
    report = json.loads(outcome.report)
    assert report["start"]["test_start"]["blksize"] == 1400
    assert rates_tested_bps(outcome.report) == pytest.approx(4e6, rel=0.03)


def test_it_is_ended_when_the_interface_has_carried_enough(server):
    looked = iter(range(10**9))
    outcome = run_test(
        order(server, duration_s=30, most_payload_bytes=0, udp_rate_bps=1e6),
        spent_bytes=lambda: float(next(looked)), most_bytes=75.0,
    )  # fmt: skip
    assert outcome.ended == "budget"
    assert outcome.took_s < 10
    assert json.loads(outcome.report)["intervals"]  # what was measured until then is kept


@pytest.mark.parametrize("use_library", [True, False])
def test_refused(iperf3, use_library):
    outcome = run_test(order(free_port()), use_library=use_library)
    assert outcome.ended == "done"
    assert "refused" in outcome.error
    assert rates_tested_bps(outcome.report).size == 0


@pytest.mark.parametrize("use_library", [True, False])
def test_a_silent_server_costs_the_deadline_and_no_more(iperf3, silent, use_library):
    wanted = order(silent.port, connect_timeout_s=0.5, grace_s=0.5)
    outcome = run_test(wanted, use_library=use_library)
    assert outcome.ended == "deadline"
    assert outcome.error == ""  # that it was ended from here is no fault of the server
    assert outcome.took_s < 2 + 3  # 1 s of test, 1 s of patience, and what ending it may take
    assert rates_tested_bps(outcome.report).size == 0


def test_a_wrong_protocol_on_the_port(iperf3, talking):
    outcome = run_test(order(talking.port, connect_timeout_s=0.5, grace_s=1.0))
    assert rates_tested_bps(outcome.report).size == 0
    assert outcome.error or outcome.ended == "deadline"


def test_a_server_that_dies_in_the_middle(iperf3):
    port = free_port()
    with iperf3_server(port) as server:
        killer = threading.Timer(2.5, os.killpg, (server.pid, signal.SIGKILL))
        killer.start()
        outcome = run_test(order(port, duration_s=20, most_payload_bytes=0, udp_rate_bps=1e6))
        killer.join()
    assert outcome.took_s < 15
    assert len(json.loads(outcome.report)["intervals"]) >= 2
    assert outcome.error


def test_a_stopped_server(iperf3):
    """SIGSTOP in the middle: its kernel goes on acknowledging, the program says nothing more."""
    port = free_port()
    with iperf3_server(port) as server:
        stopper = threading.Timer(1.5, os.killpg, (server.pid, signal.SIGSTOP))
        stopper.start()
        wanted = order(
            port, duration_s=3, most_payload_bytes=0, udp_rate_bps=1e6, grace_s=0.5,
            connect_timeout_s=0.5,
        )  # fmt: skip
        outcome = run_test(wanted)
        stopper.join()
    assert outcome.ended == "deadline"
    assert outcome.took_s < 4 + 3
    assert json.loads(outcome.report)["intervals"]


def test_neither_library_nor_program(monkeypatch):
    monkeypatch.setenv("PATH", "")
    with pytest.raises(InputError, match="got neither; install the package iperf3"):
        run_test(order(5201), use_library=False)


def test_ipv6(iperf3):
    port = free_port()
    with iperf3_server(port, address="::1"):
        outcome = run_test(TestOrder(host="::1", port=port, duration_s=1, most_payload_bytes=10**6))
    assert (outcome.ended, outcome.error) == ("done", "")


def test_no_child_is_left_when_the_parent_is_killed(server):
    code = (
        "from linkfit.probe.iperf_test import TestOrder, run_test;"
        f"run_test(TestOrder(host='127.0.0.1', port={server}, duration_s=55, udp_rate_bps=1e5))"
    )
    with started([sys.executable, "-c", code], stderr=subprocess.DEVNULL) as parent:
        wait_until(lambda: _children(parent.pid))
        child = int(_children(parent.pid)[0])
        # before it maps the library it has asked the kernel to end it with its parent
        wait_until(lambda: "libiperf" in Path(f"/proc/{child}/maps").read_text())
        parent.kill()
        parent.wait(timeout=5)
        wait_until(lambda: not _alive(child))


def _children(pid):
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(pid)],
        capture_output=True, text=True, timeout=5, check=False,
    )  # fmt: skip
    return listed.stdout.split()


def _alive(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"port": 0}, "port: .* got 0"), ({"port": 65536}, "port: expected 1 to 65535, got 65536"),
        ({"duration_s": 0}, "duration_s: .* got 0"),
        ({"n_streams": 129}, "n_streams: expected 1 to 128, got 129"),
        ({"most_payload_bytes": -1}, "most_payload_bytes: .* got -1"),
        ({"udp_rate_bps": 0.0}, "udp_rate_bps: .* got 0"),
    ],
)  # fmt: skip
def test_an_order_that_cannot_be_is_refused(given, says):
    with pytest.raises(InputError, match=says):
        TestOrder(host="x", **given)


def test_a_server_that_is_busy_says_so(server):
    code = (
        "from linkfit.probe.iperf_test import TestOrder, run_test;"
        f"run_test(TestOrder(host='127.0.0.1', port={server}, duration_s=30, udp_rate_bps=1e5))"
    )
    with started([sys.executable, "-c", code], stderr=subprocess.DEVNULL) as first:
        wait_until(lambda: _children(first.pid))
        child = int(_children(first.pid)[0])
        wait_until(lambda: _sent_bytes(child) > 20_000)
        outcome = run_test(order(server))
    assert "busy" in outcome.error
    assert "wait until that has ended" in fault_of(outcome)


def _sent_bytes(pid):
    """What a process has written, its datagrams included (Linux: /proc/PID/io)."""
    try:
        lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("wchar:")), 0)


def test_of_two_reports_behind_each_other_the_first_counts():
    one = json.dumps({"intervals": [{"sum": {"bytes": 5}}]}, indent=1)
    assert first_report(f"\n{one}\n{json.dumps({'error': 'ended'})}\n") == one
    assert first_report(one) == one
    assert first_report('{"intervals": [') == '{"intervals": ['  # cut short: left to the reader
    assert first_report("") == ""
