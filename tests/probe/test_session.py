"""Whole sessions: on the loopback, and as root over a shaped link between two namespaces."""

import json
import os
import re
import signal
import statistics
import subprocess
import sys

import pytest

from linkfit.errors import InputError
from linkfit.ingest.reader import read_trace
from linkfit.probe import session as session_module
from linkfit.probe.interface import Counters
from linkfit.probe.session import Meter, run_session
from linkfit.probe.session_plan import SessionPlan
from tests.emulation.link import FAR_ADDRESS, Link, LinkSettings
from tests.probe.servers import FAR, FAR_6, NEAR, free_port, iperf3_server, started, wait_until

PAYLOAD_OF_FRAME = 1448 / 1514  # TCP with timestamps (RFC 7323) in Ethernet frames
PAYLOAD_OF_PACKET = 1448 / 1500
PAYLOAD_OF_FRAME_6 = 1428 / 1514  # RFC 8200: 20 bytes more of header
UDP_OF_FRAME = 1400 / 1442
PORT = 5201


class Kept:
    def __init__(self):
        self.tests, self.trips = [], []

    def test(self, done):
        self.tests.append(done)

    def round_trips(self, found):
        self.trips += found


def plan(port, **given):
    return SessionPlan(
        **{"host": "127.0.0.1", "port": port, "budget_bytes": 4e6, "seconds": 2, **given}
    )


@pytest.fixture(autouse=True)
def quick_probes(monkeypatch):
    monkeypatch.setattr(session_module, "_IDLE_PROBES", 3)


def test_a_session_on_the_loopback(server):
    kept, said = Kept(), []
    found = run_session(plan(server), kept, say=said.append)
    assert found.ended in ("done", "budget")
    assert found.interface == "lo"
    assert found.translation.kind == "none"
    assert [done.outcome.order.is_up for done in found.tests][:1] == [True]
    assert found.spent_bytes <= 4e6 + 65_536 * 4  # packets of 64 kB, as the loopback sends them
    assert len(found.round_trips) == len(kept.trips) >= 2
    assert said[0] == "round trips of the idle link"
    assert said[1].startswith("test 1 of 2: TCP up, 1 stream, 2 s")


def test_where_ping_is_not_allowed_the_servers_port_answers(server, monkeypatch):
    monkeypatch.setattr(session_module, "can_ping", lambda _host: False)
    found = run_session(plan(server, ways="up"), Kept())
    assert found.probed_by == f"TCP handshakes with port {server}"
    assert found.has_figures  # the handshakes left the server fit for a test
    assert not any(trip.loaded for trip in found.round_trips)


def test_a_port_of_ones_own_is_probed_while_the_link_is_busy(server, silent, monkeypatch):
    monkeypatch.setattr(session_module, "_FULL_FRAC", 2.0)  # as if the link had been full
    wanted = plan(server, probe_port=silent.port, udp_rate_bps=1e6, ways="up")
    orders = list(wanted.orders())
    monkeypatch.setattr(SessionPlan, "orders", lambda _plan: iter(orders[1:]))  # datagrams alone
    found = run_session(wanted, Kept())
    assert any(trip.loaded for trip in found.round_trips)


def test_datagrams_that_all_get_through_keep_no_link_busy(server, silent, monkeypatch):
    wanted = plan(server, probe_port=silent.port, udp_rate_bps=1e6, ways="up")
    orders = list(wanted.orders())
    monkeypatch.setattr(SessionPlan, "orders", lambda _plan: iter(orders[1:]))
    found = run_session(wanted, Kept())
    assert found.has_figures
    assert not any(trip.loaded for trip in found.round_trips)


def test_nothing_listens(iperf3):
    found = run_session(plan(free_port()), Kept())
    assert (found.ended, found.has_figures, found.n_not_run) == ("failed", False, 1)
    assert "iperf3 -s" in found.fault
    assert found.round_trips


def test_another_program_listens(iperf3, talking, monkeypatch):
    monkeypatch.setattr(session_module, "run_test", quick_deadline)
    found = run_session(plan(talking.port), Kept())
    assert (found.ended, found.has_figures) == ("failed", False)
    assert re.search("iperf3", found.fault)


def test_a_silent_server(iperf3, silent, monkeypatch):
    monkeypatch.setattr(session_module, "run_test", quick_deadline)
    found = run_session(plan(silent.port), Kept())
    assert (found.ended, found.has_figures) == ("failed", False)
    assert "said nothing" in found.fault
    assert found.round_trips


def quick_deadline(order, **given):
    """The same test with a deadline that a test of tests can wait for."""
    from dataclasses import replace

    from linkfit.probe.iperf_test import run_test

    return run_test(replace(order, duration_s=1, grace_s=0.5, connect_timeout_s=0.5), **given)


def test_a_name_that_nobody_knows():
    with pytest.raises(InputError, match=r"got 'nobody.invalid'"):
        run_session(plan(1, host="nobody.invalid"), Kept())


def test_a_wrong_address_of_the_router_is_told_before_anything_is_sent():
    with pytest.raises(InputError, match="--wan-address: expected an IP address, got 'it'"):
        run_session(plan(1, wan_address="it"), Kept())


@pytest.mark.parametrize(
    ("counts", "spent_bytes"),
    [
        ([100, 150, 250], 150),
        ([100, 150, 30, 40], 90),  # set to zero: the interface went and came back
        ([2**32 - 50, 2**32 - 10, 20], 60),  # wrapped; the part before the wrap is not known
        ([100, 150, None, 30], 80),  # gone for a moment
    ],
)
def test_what_is_spent_survives_the_interface(monkeypatch, counts, spent_bytes):
    left = iter(counts)

    def read(_name):
        n_bytes = next(left)
        if n_bytes is None:
            raise InputError("interface: gone")
        return Counters(received_bytes=0, sent_bytes=n_bytes)

    monkeypatch.setattr(session_module, "read_counters", read)
    meter = Meter("wwan0")
    spent = [meter.spent_bytes() for _ in counts[1:]]
    assert spent[-1] == spent_bytes
    assert spent == sorted(spent)


def measured(namespaces, tmp_path, *words):
    out = tmp_path / "out"
    code, text, err = namespaces.measure("--server", FAR, "--out", out, "--json", *words)
    return code, (json.loads(text) if text else None), err, out


def received_bps(out, *, is_up):
    """What the receiver got of the first test of a direction, over its time, to the last byte.

    A second that waits for a lost packet gives the next one more than the link carries, so single
    seconds of several streams scatter; their mean must be near all the same.
    """
    file = min(out.glob(f"test-*-{'up' if is_up else 'down'}.json"))
    rates_bps = read_trace(file).throughput.rates_bps
    total_bps = json.loads(file.read_text())["end"]["sum_received"]["bits_per_second"]
    assert statistics.fmean(rates_bps) == pytest.approx(total_bps, rel=0.15)
    return total_bps


@pytest.mark.root
@pytest.mark.parametrize("n_streams", [1, 4])
def test_the_measured_rate_is_the_set_rate(namespaces, tmp_path, n_streams):
    """Layer: payload of TCP; a token bucket counts Ethernet frames."""
    # with no round trip of its own, TCP times out at a full queue and leaves the link idle
    namespaces.shape(up_bps=8e6, down_bps=24e6, queue_s=0.1)
    namespaces.window(16_000)
    with iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)):
        code, record, err, out = measured(
            namespaces, tmp_path, "--budget", "40 MB", "--seconds", 5, "--streams", n_streams
        )
    assert code == 0, err
    for is_up, set_bps in ((True, 8e6), (False, 24e6)):
        rate_bps = received_bps(out, is_up=is_up)
        assert rate_bps == pytest.approx(set_bps * PAYLOAD_OF_FRAME, rel=0.03)
    assert record["path_mtu"] == {"bytes": 1500, "by": "ping", "silent": False}
    assert record["translation"]["seen_address"] == NEAR


@pytest.mark.root
def test_over_ipv6_as_well(namespaces, tmp_path):
    namespaces.shape(up_bps=8e6, down_bps=24e6)
    with iperf3_server(PORT, address=FAR_6, inside=namespaces.inside(namespaces.far)):
        code, text, err = namespaces.measure(
            "--server", f"[{FAR_6}]:{PORT}", "--budget", "30 MB", "--seconds", 4, "--way", "up",
            "--out", tmp_path / "out", "--json",
        )  # fmt: skip
    assert code == 0, err
    rate_bps = received_bps(tmp_path / "out", is_up=True)
    assert rate_bps == pytest.approx(8e6 * PAYLOAD_OF_FRAME_6, rel=0.03)
    assert json.loads(text)["translation"]["kind"] == "none"


@pytest.mark.root
def test_datagrams_that_fit_and_that_do_not(namespaces, tmp_path):
    namespaces.shape(up_bps=4e6, down_bps=4e6)
    with iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)):
        code, record, err, _ = measured(
            namespaces, tmp_path, "--budget", "20 MB", "--seconds", 4, "--way", "up",
            "--udp", "8 Mbit/s",
        )  # fmt: skip
    assert code == 0, err
    udp = next(test for test in record["tests"] if test["transport"] == "udp")
    assert udp["p50_bps"] == pytest.approx(4e6 * UDP_OF_FRAME, rel=0.03)
    # of 8 Mbit/s a link of 4 loses a bit more than half
    assert udp["datagrams"]["loss_frac"] == pytest.approx(1 - 4 * UDP_OF_FRAME / 8, abs=0.03)
    assert udp["datagrams"]["jitter_s"] < 0.05


@pytest.mark.root
@pytest.mark.parametrize(
    ("budget_bytes", "words"),
    [
        (3_000_000, ()),
        (3_000_000, ("--streams", 8)),
        (2_000_000, ("--udp", "4 Mbit/s", "--streams", 2)),
        (5_000_000, ("--way", "down", "--streams", 4)),
        (500_000, ("--way", "up")),
    ],
)
def test_the_budget_holds_within_one_burst(namespaces, tmp_path, budget_bytes, words):
    """What the kernel counted of all packets: at most the budget and what was on its way."""
    namespaces.shape(up_bps=8e6, down_bps=24e6)
    before_bytes = namespaces.counted_bytes()
    with iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)):
        code, record, err, _ = measured(
            namespaces, tmp_path, "--budget", f"{budget_bytes} B", "--seconds", 10, *words
        )
    assert code == 0, err
    counted_bytes = namespaces.counted_bytes() - before_bytes
    burst_bytes = 24e6 * 0.05 / 8  # what waits in the longest queue
    assert counted_bytes <= budget_bytes + burst_bytes
    assert record["spent_bytes"] <= counted_bytes
    assert counted_bytes >= 0.4 * budget_bytes  # it was used, too


@pytest.mark.root
def test_round_trips_idle_and_busy_are_those_of_the_link(can_emulate, iperf3, tmp_path):
    """No delay can be set on a virtual cable here, so packets pass a link of known arithmetic."""
    settings = LinkSettings(
        pieces=((3600.0, 8e6),), rtt_s=0.060, buffer_bytes=120_000, back_bps=100e6
    )
    with Link(settings) as link, iperf3_server(
        PORT, address=FAR_ADDRESS, inside=["ip", "netns", "exec", link.far]
    ):  # fmt: skip
        done = subprocess.run(
            ["ip", "netns", "exec", link.near, sys.executable, "-m", "linkfit", "measure",
             "--server", FAR_ADDRESS, "--budget", "20 MB", "--seconds", "5", "--way", "up",
             "--udp",
             "12 Mbit/s",
             "--out", str(tmp_path / "out"), "--json"],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["round_trips"]["idle"]["p50_s"] == pytest.approx(0.060, abs=0.004)
    # datagrams beyond the rate keep the buffer full: 120 kB at 8 Mbit/s wait for 120 ms
    busy = record["round_trips"]["busy"]
    assert busy["p95_s"] == pytest.approx(0.060 + 0.120, abs=0.008)
    assert busy["p50_s"] > record["round_trips"]["idle"]["p95_s"]
    assert record["round_trips"]["idle"]["n_lost"] == 0
    rate_bps = received_bps(tmp_path / "out", is_up=True)
    assert rate_bps == pytest.approx(8e6 * PAYLOAD_OF_PACKET, rel=0.03)


@pytest.mark.root
def test_nobody_has_the_address(namespaces, tmp_path):
    code, text, err = namespaces.measure(
        "--server", "198.18.0.77", "--budget", "1 MB", "--out", tmp_path / "out", "--json"
    )
    assert code == 2
    assert "cannot be reached" in err
    assert json.loads(text)["ended"] == "unreachable"


@pytest.mark.root
def test_an_interruption_keeps_what_was_measured(namespaces, tmp_path):
    namespaces.shape(up_bps=8e6, down_bps=24e6)
    out = tmp_path / "out"
    command = namespaces.command(
        "--server", FAR, "--budget", "100 MB", "--seconds", 8, "--streams", 1, "--streams", 2,
        "--way", "up", "--out", out, "--json",
    )  # fmt: skip
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with (
        iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)),
        started(command, **pipes) as process,
    ):
        assert any("test 2 of 2" in line for line in process.stderr)
        before_bytes = namespaces.counted_bytes()
        # 2.5 s of the second test
        wait_until(lambda: namespaces.counted_bytes() - before_bytes > 2.5e6)
        os.killpg(process.pid, signal.SIGINT)
        text, _ = process.communicate(timeout=20)
    assert process.returncode == 130
    record = json.loads(text)
    assert record["ended"] == "interrupted"
    assert [test["ended"] for test in record["tests"]] == ["done", "interrupted"]
    trace = read_trace(out)
    assert len(trace.sources) >= 3  # both tests and the round trips
    assert set(trace.throughput.n_streams.tolist()) == {1, 2}


@pytest.mark.root
def test_a_server_that_dies_between_tests_leaves_what_was_measured(namespaces, tmp_path):
    namespaces.shape(up_bps=8e6, down_bps=24e6)
    command = namespaces.command(
        "--server", FAR, "--budget", "100 MB", "--seconds", 3, "--out", tmp_path / "out", "--json"
    )
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with (
        iperf3_server(PORT, address=FAR, inside=namespaces.inside(namespaces.far)) as server,
        started(command, **pipes) as process,
    ):
        assert any("test 2 of 2" in line for line in process.stderr)
        os.killpg(server.pid, signal.SIGKILL)
        text, err = process.communicate(timeout=40)
    assert process.returncode == 0, err  # the first test gave figures
    record = json.loads(text)
    assert record["ended"] == "failed"
    assert record["fault"]
    assert record["tests"][0]["n_samples"] >= 2
