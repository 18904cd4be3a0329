"""How long something on the way keeps an idle TCP connection, told by leaving some idle.

Connections to one port of the server are opened together, each is left idle for its own time,
then sends one byte: an acknowledgement tells that the way was kept.
"""

import select
import socket
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

from linkfit._checks import positive

FIRST_IDLE_S = 15.0  # the least that RFC 8085 section 3.5 lets a keepalive interval be
_STEP = 2.0
_ANSWER_S = 10.0  # four retransmits at the least timer of 1 s of RFC 6298: 1 + 2 + 4 s
_TCP_INFO_BYTES = 104
_UNACKED_AT = 24  # tcpi_unacked in struct tcp_info of linux/tcp.h
_CLOSED = 7  # TCP_CLOSE of the same file
_LOOK_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class NatTimer:
    """What idle connections told.

    `kept_s` is the longest idle time after which a connection still carried a byte, `gone_s` the
    shortest after which one did not (None: none such). `text` says it, and what was in the way.
    """

    kept_s: float | None
    gone_s: float | None
    text: str


def idle_times_s(up_to_s: float) -> tuple[float, ...]:
    """Idle times that double from 15 s up to `up_to_s`, which is the last. [s]"""
    last_s = positive("up_to_s", up_to_s)
    times_s, at_s = [], FIRST_IDLE_S
    while at_s < last_s:
        times_s.append(at_s)
        at_s *= _STEP
    return (*times_s, last_s)


def watch_idle(
    host: str,
    port: int,
    times_s: tuple[float, ...],
    *,
    wait: Callable[[float], None] = time.sleep,
    answer_s: float = _ANSWER_S,
) -> NatTimer:
    """Leave one connection idle for each of `times_s` and see which still carry a byte.

    Parameters
    ----------
    host, port
        Of a server that keeps connections open that say nothing.
    times_s : tuple of float
        Idle times. [s]
    wait : callable
        Waits so many seconds.
    answer_s : float
        How long an acknowledgement may take. [s]

    Notes
    -----
    All are open at once, so that it takes as long as the longest, and each is idle from its
    start. Closing is no proof: a server that ends idle connections itself shows as an end from
    the far side, and is told apart from silence.
    """
    opened: list[tuple[float, socket.socket]] = []
    fates: dict[float, str] = {}
    began_s = time.monotonic()
    try:
        for idle_s in times_s:
            connection = socket.create_connection((host, port), timeout=answer_s)
            opened.append((idle_s, connection))  # one by one: if the next fails, this is closed
        for idle_s, connection in opened:
            wait(max(began_s + idle_s - time.monotonic(), 0.0))
            fates[idle_s] = _fate(connection, answer_s)
        reachable = _is_reachable(host, port, answer_s)
    except OSError as error:
        return NatTimer(kept_s=None, gone_s=None, text=f"not told: no connection ({error})")
    finally:
        for _, connection in opened:
            # a reset, so that the server need not wait for what an idle client would say
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            connection.close()
    return tell_timer(fates, reachable=reachable)


def tell_timer(fates: dict[float, str], *, reachable: bool) -> NatTimer:
    """What the fates of connections ("kept", "gone", "ended") tell, by their idle times.

    Parameters
    ----------
    fates : dict
        Idle time [s] to what became of the connection.
    reachable : bool
        Did a fresh connection work afterwards?
    """
    kept = [idle_s for idle_s, fate in fates.items() if fate == "kept"]
    gone = [idle_s for idle_s, fate in fates.items() if fate == "gone"]
    ended = [idle_s for idle_s, fate in fates.items() if fate == "ended"]
    kept_s = max(kept, default=None)
    beyond = [idle_s for idle_s in gone if kept_s is None or idle_s > kept_s]
    gone_s = min(beyond, default=None) if reachable else None
    said = []
    if kept_s is not None:
        said.append(f"an idle TCP connection is kept for {kept_s:g} s at least")
    if gone_s is not None:
        said.append(f"after {gone_s:g} s of silence it carries nothing more: say hello before")
    elif gone and not reachable:
        said.append("the server could not be reached at the end, so that silence tells nothing")
    if ended:
        said.append(
            f"the far side ended those idle for {min(ended):g} s and more: its own limit, or one "
            "on the way; another port (--probe-port) may tell"
        )
    return NatTimer(kept_s=kept_s, gone_s=gone_s, text="; ".join(said) or "not told")


def _fate(connection: socket.socket, answer_s: float) -> str:
    """What became of an idle connection: "kept", "gone" or "ended"."""
    readable, _, _ = select.select([connection], [], [], 0.0)
    if readable and not _has_data(connection):
        return "ended"
    try:
        connection.sendall(b"\0")
    except OSError:
        return "ended"
    latest_s = time.monotonic() + answer_s
    while time.monotonic() < latest_s:
        select.select([connection], [], [], _LOOK_S)
        state, n_unacknowledged = _state(connection)
        if state == _CLOSED:
            return "gone"  # a reset: who has forgotten the connection answers so
        if n_unacknowledged == 0:
            return "kept"
    return "gone"


def _has_data(connection: socket.socket) -> bool:
    """Does what can be read hold data (a greeting), not an end or a reset?"""
    try:
        return bool(connection.recv(1, socket.MSG_PEEK))
    except OSError:
        return False


def _state(connection: socket.socket) -> tuple[int, int]:
    """State of a connection as the kernel numbers it, and segments not yet acknowledged."""
    info = connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _TCP_INFO_BYTES)
    return info[0], int(struct.unpack_from("I", info, _UNACKED_AT)[0])


def _is_reachable(host: str, port: int, answer_s: float) -> bool:
    try:
        socket.create_connection((host, port), timeout=answer_s).close()
    except OSError:
        return False
    return True
