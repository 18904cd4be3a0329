"""Round trips to a host: by the system's ping where it is allowed, else by connecting over TCP."""

import math
import os
import shutil
import signal
import socket
import struct
import subprocess
import threading
import time
from dataclasses import dataclass
from typing import Self

from linkfit._checks import positive
from linkfit.errors import TraceError
from linkfit.ingest.ping import read_ping

# struct tcp_info of linux/tcp.h: eight bytes, then fields of 32 bits
_TCP_INFO_BYTES, _PATH_MTU_AT, _RTT_AT = 104, 60, 68
_LOST_AFTER_S = 5.0  # common practice: what has not come back by then counts as lost
_ON_ITS_WAY_S = 1.0  # an answer missing for less, when the probes end, is no loss
_PING_LEAST_S = 0.2  # what ping lets anybody ask for
_PROBE_BYTES = 84  # of an ICMP echo with 56 bytes in it, IPv4 header included
_HANDSHAKE_BYTES = 4 * 60  # SYN, SYN-ACK, ACK and reset, each with its options


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundTrip:
    """One probe: when it left (UTC), what came of it (inf: no answer), and was the link busy?"""

    time_s: float
    rtt_s: float
    loaded: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Connection:
    """What the kernel knows after a TCP handshake. `path_mtu_bytes` is its present belief."""

    rtt_s: float
    path_mtu_bytes: int | None = None


def connect_once(host: str, port: int, *, timeout_s: float = _LOST_AFTER_S) -> Connection | None:
    """The round trip of one TCP handshake, or of the reset that a closed port answers with.

    Returns
    -------
    connection : Connection or None
        None if nothing came back within `timeout_s`.

    Raises
    ------
    OSError
        If the host is not known or no route leads there.

    Notes
    -----
    TCP_INFO's own round trip is read where the handshake ended well: it leaves out the time this
    program waited to run. A refusal took one round trip as well.
    """
    family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    with socket.socket(family, kind, protocol) as probe:
        probe.settimeout(positive("timeout_s", timeout_s))
        began_s = time.monotonic()
        try:
            probe.connect(address)
        except ConnectionRefusedError:
            return Connection(rtt_s=time.monotonic() - began_s)
        except TimeoutError:
            return None
        took_s = time.monotonic() - began_s
        info = probe.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _TCP_INFO_BYTES)
        # a reset ends it at once: the far end need not keep a connection that says nothing
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    measured_us, mtu_bytes = (
        struct.unpack_from("I", info, at)[0] for at in (_RTT_AT, _PATH_MTU_AT)
    )
    return Connection(
        rtt_s=measured_us * 1e-6 if measured_us else took_s, path_mtu_bytes=mtu_bytes or None
    )


def can_ping(host: str, *, timeout_s: float = 3.0) -> bool:
    """May this user ping `host`, and does it answer?"""
    program = shutil.which("ping")
    if program is None:
        return False
    command = [program, "-n", "-c", "1", "-W", str(math.ceil(timeout_s)), host]
    try:
        # the program of the system, and a host that getaddrinfo has taken
        done = subprocess.run(  # noqa: S603
            command, capture_output=True, timeout=timeout_s + 2, check=False
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


class _Pinger:
    """The system's ping in the background; what it printed is read when it ends."""

    bytes_each = 2 * _PROBE_BYTES

    def __init__(self, host: str, interval_s: float) -> None:
        self._host = host
        # -O tells an answer that is missing before the next probe leaves, -D the time of day
        self._command = [
            str(shutil.which("ping")), "-n", "-O", "-D", "-i",
            f"{max(interval_s, _PING_LEAST_S):g}", host,
        ]  # fmt: skip

    def start(self) -> None:
        self._process = subprocess.Popen(  # noqa: S603  (the program of the system)
            self._command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True, start_new_session=True,
            env={**os.environ, "LC_ALL": "C"},
        )  # fmt: skip

    def stop(self) -> list[tuple[float, float]]:
        """(time, round trip) of each probe; what had no time to come back is left out."""
        ended_s = time.time()
        self._process.send_signal(signal.SIGINT)  # so that it prints its summary
        try:
            text, _ = self._process.communicate(timeout=_LOST_AFTER_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            text, _ = self._process.communicate()
        try:
            samples = read_ping(text, self._host, "").latency
        except TraceError:  # it ended before its first answer
            return []
        found = zip(samples.time_s.tolist(), samples.rtt_s.tolist(), strict=True)
        return [
            (at_s, rtt_s) for at_s, rtt_s in found
            if math.isfinite(rtt_s) or at_s < ended_s - _ON_ITS_WAY_S
        ]  # fmt: skip


class _Connector:
    """TCP handshakes in a thread, one after another."""

    bytes_each = _HANDSHAKE_BYTES

    def __init__(self, host: str, port: int, interval_s: float) -> None:
        self._host, self._port, self._interval_s = host, port, interval_s
        self._found: list[tuple[float, float]] = []
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> list[tuple[float, float]]:
        self._ended.set()
        self._thread.join()
        return self._found

    def _run(self) -> None:
        while not self._ended.is_set():
            at_s = time.time()
            try:
                connection = connect_once(self._host, self._port)
            except OSError:  # the route is gone for the moment: as good as lost
                connection = None
            self._found.append((at_s, math.inf if connection is None else connection.rtt_s))
            self._ended.wait(max(self._interval_s - (time.time() - at_s), 0.0))


class Probing:
    """Context manager: probes run until the block ends, then `found` holds them.

    Parameters
    ----------
    host : str
        Whom to ask.
    port : int or None
        None: by ping; else by TCP handshakes with this port, open or closed.
    interval_s : float
        From one probe to the next. [s]
    loaded : bool
        Is the link kept busy meanwhile?
    """

    def __init__(self, host: str, *, port: int | None, interval_s: float, loaded: bool) -> None:
        positive("interval_s", interval_s)
        self._way = (
            _Pinger(host, interval_s) if port is None else _Connector(host, port, interval_s)
        )
        self._loaded = loaded
        self.found: tuple[RoundTrip, ...] = ()

    @property
    def bytes_each(self) -> int:
        """What one probe costs, there and back. [bytes]"""
        return self._way.bytes_each

    def __enter__(self) -> Self:
        self._way.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.found = tuple(
            RoundTrip(time_s=at_s, rtt_s=rtt_s, loaded=self._loaded)
            for at_s, rtt_s in self._way.stop()
        )
