"""Real iperf3 servers that are ended whatever happens, and two namespaces with a shaped link."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from itertools import count
from pathlib import Path

NEAR, FAR = "198.18.0.1", "198.18.0.2"  # RFC 2544: for tests of networks only
NEAR_6, FAR_6 = "fd00:18::1", "fd00:18::2"
LONGEST_S = 60
# the program as it is, but for the seconds in which it probes the idle link before its tests
_FEW_PROBES = """
import sys
from linkfit.probe import session
session._IDLE_PROBES = 3
from linkfit.cli.app import main
main(sys.argv[1:])
"""
_serial = count()


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(condition, *, most_s=10.0):
    """Look 50 times a second until it holds; fail the test if it never does."""
    latest_s = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < latest_s, "waited in vain"
        threading.Event().wait(0.02)


def stop(process):
    """A process and its group, stopped or not, are gone after this."""
    for sign in (signal.SIGCONT, signal.SIGKILL):
        try:
            os.killpg(process.pid, sign)
        except ProcessLookupError:
            break
    process.wait(timeout=10)
    for pipe in (process.stdout, process.stderr):
        if pipe is not None:
            pipe.close()


@contextmanager
def started(command, **given):
    process = subprocess.Popen(command, start_new_session=True, **given)
    try:
        yield process
    finally:
        stop(process)


@contextmanager
def iperf3_server(port, *, address="127.0.0.1", inside=()):
    """The real program; ready when it says that it listens."""
    command = [*inside, "iperf3", "-s", "-B", address, "-p", str(port), "--forceflush"]
    with started(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        assert any("listening" in line for line in server.stdout)
        thread = threading.Thread(target=_drain, args=(server.stdout,), daemon=True)
        thread.start()
        yield server
        os.killpg(server.pid, signal.SIGKILL)
        thread.join(timeout=10)


def _drain(pipe):
    for _line in pipe:
        pass


class Listener:
    """A program on a port that is no iperf3 server: says `greeting`, reads nothing, keeps all."""

    def __init__(self, greeting=b""):
        self.greeting, self.kept = greeting, []
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def _run(self):
        while True:
            try:
                connection, _ = self.socket.accept()
            except OSError:
                return
            self.kept.append(connection)
            with contextlib.suppress(OSError):  # whoever asked may be gone already
                connection.sendall(self.greeting)

    def close(self):
        self.socket.shutdown(socket.SHUT_RDWR)
        self.socket.close()
        self.thread.join(timeout=5)
        for connection in self.kept:
            connection.close()


def run(*words):
    subprocess.run(words, check=True, capture_output=True, timeout=20)


class Namespaces:
    """Near and far, joined by a virtual cable; each end shaped by a token bucket."""

    def __init__(self):
        name = f"lfp{os.getpid()}x{next(_serial)}"
        self.near, self.far = f"{name}n", f"{name}f"
        self.near_side, self.far_side = "lfnear", "lffar"

    def __enter__(self):
        try:
            self._make()
        except BaseException:
            self.__exit__()
            raise
        return self

    def _make(self):
        for space in (self.near, self.far):
            run("ip", "netns", "add", space)
            run("ip", "-n", space, "link", "set", "lo", "up")
        self.join()

    def join(self):
        """The virtual cable and its addresses; again, where it was pulled."""
        run("ip", "-n", self.near, "link", "add", self.near_side, "type", "veth",
            "peer", "name", self.far_side, "netns", self.far)  # fmt: skip
        for space, side, four, six in (
            (self.near, self.near_side, NEAR, NEAR_6), (self.far, self.far_side, FAR, FAR_6),
        ):  # fmt: skip
            run("ip", "-n", space, "addr", "add", f"{four}/24", "dev", side)
            run("ip", "-n", space, "addr", "add", f"{six}/64", "dev", side, "nodad")
            run("ip", "-n", space, "link", "set", side, "up")

    def __exit__(self, *_):
        for space in (self.near, self.far):
            if Path("/run/netns", space).exists():
                run("ip", "netns", "del", space)

    def shape(self, *, up_bps, down_bps, queue_s=0.05, burst_bytes=3028):
        """Token buckets: rates count Ethernet frames (1514 bytes for 1448 of TCP's payload)."""
        for space, side, rate in (
            (self.near, self.near_side, up_bps), (self.far, self.far_side, down_bps),
        ):  # fmt: skip
            run(
                "tc",
                "-n",
                space,
                "qdisc",
                "replace",
                "dev",
                side,
                "root",
                "tbf",
                "rate",
                f"{rate:.0f}bit",
                "burst",
                str(burst_bytes),
                "latency",
                f"{queue_s * 1e3:.0f}ms",
            )

    def window(self, n_bytes):
        """The most that waits on the way of one TCP connection: below the queue, none is lost."""
        for space, side in ((self.near, self.near_side), (self.far, self.far_side)):
            run("ip", "-n", space, "route", "replace", "198.18.0.0/24", "dev", side,
                "window", str(n_bytes))  # fmt: skip

    def mtu(self, n_bytes):
        run("ip", "-n", self.near, "link", "set", self.near_side, "mtu", str(n_bytes))
        run("ip", "-n", self.far, "link", "set", self.far_side, "mtu", str(n_bytes))

    def python(self, code, *, timeout_s=LONGEST_S):
        """What `code` prints in the near namespace."""
        return subprocess.run(
            [*self.inside(self.near), sys.executable, "-c", code],
            check=True, capture_output=True, text=True, timeout=timeout_s,
        ).stdout  # fmt: skip

    def inside(self, space):
        return ["ip", "netns", "exec", space]

    def counted_bytes(self):
        """What the near side's interface has carried, both directions."""
        text = subprocess.run(
            [*self.inside(self.near), "cat", "/proc/net/dev"],
            check=True, capture_output=True, text=True, timeout=10,
        ).stdout  # fmt: skip
        fields = next(line for line in text.splitlines() if self.near_side in line).split()
        return int(fields[1]) + int(fields[9])

    def measure(self, *words, timeout_s=LONGEST_S):
        """``linkfit measure`` in the near namespace, few idle probes: code, stdout, stderr."""
        done = subprocess.run(
            self.command(*words), capture_output=True, text=True, timeout=timeout_s, check=False
        )
        return done.returncode, done.stdout, done.stderr

    def command(self, *words):
        return [*self.inside(self.near), sys.executable, "-c", _FEW_PROBES, "measure",
                *map(str, words)]  # fmt: skip
