import math
import socket
import subprocess
import threading

import pytest

from linkfit.errors import InputError
from linkfit.probe import recorder_prober
from linkfit.probe.recorder_prober import Prober, ping_once, round_trip_s


def test_a_port_answers_open_or_closed():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        assert 0 < round_trip_s("127.0.0.1", port) < 1
    assert 0 < round_trip_s("127.0.0.1", port) < 1


def test_a_name_that_is_none_is_a_loss():
    assert round_trip_s("no-such-host.invalid", 80) == math.inf


@pytest.mark.parametrize(
    ("text", "rtt_s"),
    [("64 bytes from 10.0.0.1: icmp_seq=1 ttl=64 time=48.2 ms", 0.0482),
     ("64 bytes from 10.0.0.1: icmp_seq=1 ttl=64 time<1 ms", 0.001),
     ("1 packets transmitted, 0 received, 100% packet loss, time 0ms", math.inf),
     ("", math.inf)],
)  # fmt: skip
def test_what_ping_prints(monkeypatch, text, rtt_s):
    monkeypatch.setattr(recorder_prober.shutil, "which", lambda _name: "/bin/ping")
    monkeypatch.setattr(
        recorder_prober.subprocess, "run",
        lambda *_, **__: subprocess.CompletedProcess([], 0, stdout=text),
    )  # fmt: skip
    assert ping_once("10.0.0.1") == pytest.approx(rtt_s)


def test_a_ping_that_hangs_is_a_loss(monkeypatch):
    def hangs(host):
        raise subprocess.TimeoutExpired("ping", 10)

    monkeypatch.setattr(recorder_prober, "ping_once", hangs)
    assert round_trip_s("10.0.0.1", None) == math.inf


def test_without_the_program_another_way_is_named(monkeypatch):
    monkeypatch.setattr(recorder_prober.shutil, "which", lambda _name: None)
    with pytest.raises(InputError, match="HOST:PORT"):
        ping_once("10.0.0.1")


def test_probes_are_handed_over_with_their_time():
    found, enough = [], threading.Event()

    def take(at_s, rtt_s):
        found.append((at_s, rtt_s))
        enough.set()

    prober = Prober(lambda: 0.05, take, interval_s=0.001, now_s=lambda: 7.0)
    prober.start()
    assert enough.wait(5)
    prober.stop()
    assert found[0] == (7.0, 0.05)
