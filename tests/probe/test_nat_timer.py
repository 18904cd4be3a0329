import socket
import struct
import threading

import pytest

from linkfit.errors import InputError
from linkfit.probe.nat_timer import idle_times_s, tell_timer, watch_idle
from tests.probe.servers import wait_until

_TCP_REPAIR = 19  # linux/tcp.h: a connection closed under repair vanishes without a word


def test_idle_times_double_up_to_the_last():
    assert idle_times_s(300) == (15, 30, 60, 120, 240, 300)
    assert idle_times_s(15) == (15,)
    assert idle_times_s(4) == (4,)
    with pytest.raises(InputError, match=r"up_to_s: .* got 0"):
        idle_times_s(0)


@pytest.mark.parametrize(
    ("fates", "reachable", "kept_s", "gone_s", "says"),
    [
        ({15: "kept", 30: "kept"}, True, 30, None, "kept for 30 s at least"),
        ({15: "kept", 30: "gone", 60: "gone"}, True, 15, 30, "after 30 s of silence"),
        ({15: "gone", 30: "gone"}, True, None, 15, "after 15 s"),
        ({15: "kept", 30: "gone"}, False, 15, None, "could not be reached"),
        ({15: "kept", 30: "ended"}, True, 15, None, "far side ended those idle for 30 s"),
        ({15: "gone", 30: "kept"}, True, 30, None, "kept for 30 s"),  # lost once, not forgotten
        ({}, True, None, None, "not told"),
    ],
)
def test_what_the_fates_tell(fates, reachable, kept_s, gone_s, says):
    found = tell_timer(fates, reachable=reachable)
    assert (found.kept_s, found.gone_s) == (kept_s, gone_s)
    assert says in found.text


def test_a_server_that_keeps_idle_connections(silent):
    found = watch_idle("127.0.0.1", silent.port, (0.01, 0.05))
    assert (found.kept_s, found.gone_s) == (0.05, None)


def test_a_greeting_is_no_end(talking):
    assert watch_idle("127.0.0.1", talking.port, (0.05,)).kept_s == 0.05


def test_a_server_that_ends_idle_connections_itself(silent):
    def end_all(_seconds):
        wait_until(lambda: silent.kept)
        for connection in silent.kept:
            connection.shutdown(socket.SHUT_RDWR)
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            connection.close()
        silent.kept.clear()
        threading.Event().wait(0.05)

    found = watch_idle("127.0.0.1", silent.port, (0.2,), wait=end_all)
    assert (found.kept_s, found.gone_s) == (None, None)
    assert "far side ended" in found.text


@pytest.mark.root
def test_a_way_that_has_forgotten_the_connection(silent, namespaces):
    """Closed under repair, the far kernel knows nothing of it and answers with a reset."""

    def forget(_seconds):
        wait_until(lambda: silent.kept)
        for connection in silent.kept:
            connection.setsockopt(socket.IPPROTO_TCP, _TCP_REPAIR, 1)
            connection.close()
        silent.kept.clear()

    found = watch_idle("127.0.0.1", silent.port, (0.2,), wait=forget)
    assert (found.kept_s, found.gone_s) == (None, 0.2)


def test_nobody_there():
    with socket.create_server(("127.0.0.1", 0)) as nobody:
        port = nobody.getsockname()[1]
    found = watch_idle("127.0.0.1", port, (1.0,))
    assert found.text.startswith("not told: no connection")
