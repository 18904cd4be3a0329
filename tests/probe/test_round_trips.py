import math
import socket

import pytest

from linkfit.errors import InputError
from linkfit.probe import round_trips
from linkfit.probe.round_trips import Probing, can_ping, connect_once
from tests.probe.servers import free_port, wait_until


def probed(port, *, n=3, host="127.0.0.1"):
    probing = Probing(host, port=port, interval_s=0.05, loaded=True)
    with probing:
        wait_until(lambda: len(probing._way._found) >= n)
    return probing.found


def test_a_handshake_tells_the_kernels_round_trip_and_mtu(silent):
    found = connect_once("127.0.0.1", silent.port)
    assert 0 < found.rtt_s < 1
    assert found.path_mtu_bytes == 65_535  # the longest packet of IPv4, RFC 791


def test_a_closed_port_answers_as_well():
    found = connect_once("127.0.0.1", free_port())
    assert 0 < found.rtt_s < 1
    assert found.path_mtu_bytes is None


def test_no_answer_is_a_lost_probe(monkeypatch):
    def never(*_):
        raise TimeoutError

    monkeypatch.setattr(socket.socket, "connect", never)
    assert connect_once("127.0.0.1", 1) is None


def test_a_name_that_nobody_knows():
    with pytest.raises(OSError, match=r"known|resolution|associated"):
        connect_once("nobody.invalid", 1)


def test_probes_of_a_port_are_kept_with_their_load(silent):
    found = probed(silent.port)
    assert all(trip.loaded and 0 < trip.rtt_s < 1 for trip in found)
    times = [trip.time_s for trip in found]
    assert times == sorted(times)


def test_a_route_that_is_gone_counts_as_lost(monkeypatch, silent):
    def gone(*_args, **_named):
        raise OSError("network is unreachable")

    monkeypatch.setattr(round_trips, "connect_once", gone)
    assert all(math.isinf(trip.rtt_s) for trip in probed(silent.port))


def test_ping_where_it_is_allowed():
    if not can_ping("127.0.0.1"):
        pytest.skip("no ping here, or not for this user")
    probing = Probing("127.0.0.1", port=None, interval_s=0.2, loaded=False)
    with probing:
        assert connect_once("127.0.0.1", free_port()).rtt_s > 0
        process = probing._way._process
        wait_until(lambda: process.poll() is None)
    assert all(0 < trip.rtt_s < 1 and not trip.loaded for trip in probing.found)
    assert process.poll() is not None  # it has ended


def test_without_the_program_nobody_pings(monkeypatch):
    monkeypatch.setenv("PATH", "")
    assert not can_ping("127.0.0.1")


def test_an_interval_that_cannot_be():
    with pytest.raises(InputError, match=r"interval_s: .* got 0"):
        Probing("127.0.0.1", port=1, interval_s=0, loaded=False)
