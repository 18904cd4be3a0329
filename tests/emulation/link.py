"""An emulated link for real kernel TCP: two network namespaces, two TUN devices, one process.

Packets from the near side wait in a drop-tail queue, leave at the rate of a trace that loops, may
be lost then, and arrive half a round trip later; the way back is fast and constant. All of it is
arithmetic on the time at which a packet is read, so the process only has to write each packet when
it is due, and reports how late it was.

As a script (``python link.py NAME SETTINGS``, as root) it makes the namespaces, says ``ready`` on
its output, serves until its input closes, reports, and takes everything away again. `Link` starts
and stops it. Standard library only.
"""

import contextlib
import ctypes
import heapq
import json
import os
import random
import select
import struct
import subprocess
import sys
import time
from bisect import bisect_right
from collections import deque
from dataclasses import asdict, dataclass
from fcntl import ioctl
from itertools import accumulate, count
from pathlib import Path

NEAR_ADDRESS, FAR_ADDRESS = "198.18.0.1", "198.18.0.2"  # RFC 2544: for tests of networks only
MTU_BYTES = 1500
_TUN = "/dev/net/tun"
_NAMESPACES = Path("/run/netns")
_TUNSETIFF, _IFF_TUN, _IFF_NO_PI = 0x400454CA, 0x0001, 0x1000
_CLONE_NEWNET = 0x40000000
_BITS_PER_BYTE = 8
_MOST_READ = 64  # packets in a row before what is due goes first
_serial = count()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSettings:
    """What the link does; `pieces` are (duration [s], IP-layer rate [bit/s]) and loop."""

    pieces: tuple[tuple[float, float], ...]
    rtt_s: float
    buffer_bytes: float
    loss_frac: float = 0.0
    back_bps: float = 100e6
    offset_s: float = 0.0  # where in the trace the link begins
    seed: int = 0  # of the losses


class RateLoop:
    """A piecewise constant rate that repeats for ever."""

    def __init__(self, pieces):
        self.edges_s = [0.0, *accumulate(duration for duration, _ in pieces)]
        self.rates_bps = [rate for _, rate in pieces]
        self.horizon_s = self.edges_s[-1]
        if not any(duration * rate > 0 for duration, rate in pieces):
            raise ValueError(f"pieces: expected one that carries bits, got {pieces}")

    def sent_s(self, start_s, bits):
        """When the last of `bits` has left, if the first begins at `start_s`."""
        loops, inside_s = divmod(start_s, self.horizon_s)
        index = min(bisect_right(self.edges_s, inside_s) - 1, len(self.rates_bps) - 1)
        at_s = start_s
        while True:
            rate_bps = self.rates_bps[index]
            end_s = loops * self.horizon_s + self.edges_s[index + 1]
            room_bits = max(end_s - at_s, 0.0) * rate_bps
            if bits <= room_bits:
                return at_s + bits / rate_bps
            bits -= room_bits
            at_s = end_s
            index += 1
            if index == len(self.rates_bps):
                index, loops = 0, loops + 1


class OneWay:
    """One direction: drop-tail queue, service packet by packet, loss, delay."""

    def __init__(self, rates, *, buffer_bytes, delay_s, loss_frac, seed):
        self.rates, self.buffer_bytes, self.delay_s = rates, buffer_bytes, delay_s
        self.loss_frac, self.rng = loss_frac, random.Random(seed)
        self.free_s = 0.0  # when all that waits has left
        self.waiting = deque()  # (leaves, bytes), the packet in service included
        self.waiting_bytes = 0
        self.n_offered = self.n_dropped = self.n_lost = 0
        self.longest_wait_s = 0.0

    def arrival_s(self, n_bytes, now_s):
        """When a packet offered now arrives on the other side; None if it never does."""
        self.n_offered += 1
        while self.waiting and self.waiting[0][0] <= now_s:
            self.waiting_bytes -= self.waiting.popleft()[1]
        if self.waiting_bytes + n_bytes > self.buffer_bytes:
            self.n_dropped += 1
            return None
        self.longest_wait_s = max(self.longest_wait_s, self.free_s - now_s)
        self.free_s = self.rates.sent_s(max(now_s, self.free_s), n_bytes * _BITS_PER_BYTE)
        self.waiting.append((self.free_s, n_bytes))
        self.waiting_bytes += n_bytes
        if self.loss_frac and self.rng.random() < self.loss_frac:
            self.n_lost += 1
            return None
        return self.free_s + self.delay_s


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkReport:
    """What the link saw: of packets from the near side, and how late it served any packet."""

    n_offered: int
    n_dropped: int
    n_lost: int
    longest_wait_s: float
    n_served: int
    late_median_s: float
    late_99_s: float
    late_most_s: float


class Link:
    """Context manager: the link runs in a process of its own until the block ends."""

    def __init__(self, settings):
        self.settings = settings
        self.name = f"linkfit-{os.getpid()}-{next(_serial)}"
        self.near, self.far = _sides(self.name)
        self.zero_s = 0.0  # of time.monotonic(), at offset 0 of the trace
        self.report = None  # after the block
        self._process = None

    def __enter__(self):
        command = [sys.executable, "-I", __file__, self.name, json.dumps(asdict(self.settings))]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True)
        first = self._process.stdout.readline().split()
        if first[:1] != ["ready"]:
            problem = self._stopped()[1]
            raise RuntimeError(f"the emulated link did not start: {problem}")
        self.zero_s = float(first[1])
        return self

    def __exit__(self, kind, error, traceback):
        out, problem = self._stopped()
        if self._process.returncode == 0:
            self.report = LinkReport(**json.loads(out))
        elif kind is None:
            raise RuntimeError(f"the emulated link failed: {problem}")

    def _stopped(self):
        """Its output and errors; after this neither process nor namespace is left."""
        try:
            return self._process.communicate(timeout=20)  # closes its input, which ends it
        except BaseException:
            self._process.kill()
            self._process.communicate()
            raise
        finally:
            _remove(self.name)


def enter_namespace(name):
    """Put the calling thread, and no other, into a network namespace."""
    libc = ctypes.CDLL(None, use_errno=True)
    descriptor = os.open(_NAMESPACES / name, os.O_RDONLY | os.O_CLOEXEC)
    try:
        if libc.setns(descriptor, _CLONE_NEWNET):
            raise OSError(ctypes.get_errno(), "cannot enter the network namespace", name)
    finally:
        os.close(descriptor)


def run_before_others(priority):
    """Real-time priority for the calling thread, where the machine lets it."""
    with contextlib.suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(priority))


def _sides(name):
    return f"{name}-near", f"{name}-far"


def _ip(*words):
    subprocess.run(["ip", *words], check=True, stdout=subprocess.DEVNULL)


def _remove(name):
    for namespace in _sides(name):
        if (_NAMESPACES / namespace).exists():
            _ip("netns", "del", namespace)


def _open_tun(namespace, own, peer):
    """A TUN device inside a fresh namespace; it goes when its file closes."""
    _ip("netns", "add", namespace)
    enter_namespace(namespace)
    tun = os.open(_TUN, os.O_RDWR | os.O_NONBLOCK | os.O_CLOEXEC)
    ioctl(tun, _TUNSETIFF, struct.pack("16sH22x", b"tun0", _IFF_TUN | _IFF_NO_PI))
    _ip("-n", namespace, "addr", "add", own, "peer", peer, "dev", "tun0")
    # a long queue of the device: only the emulated one may drop
    length = ("txqueuelen", "10000")
    _ip("-n", namespace, "link", "set", "dev", "tun0", "mtu", str(MTU_BYTES), *length, "up")
    return tun


def _ways(settings):
    """The way from near to far and the way back."""
    forward = OneWay(
        RateLoop(settings.pieces),
        buffer_bytes=settings.buffer_bytes,
        delay_s=settings.rtt_s / 2,
        loss_frac=settings.loss_frac,
        seed=settings.seed,
    )
    back = OneWay(
        RateLoop([(1.0, settings.back_bps)]),
        buffer_bytes=float("inf"),
        delay_s=settings.rtt_s / 2,
        loss_frac=0.0,
        seed=0,
    )
    return forward, back


def _serve(near, far, ways, zero_s):
    """Carry packets until the standard input closes; the report."""
    forward, back = ways
    routes = {near: (forward, far), far: (back, near)}
    stop = sys.stdin.fileno()
    under_way, late_s, order = [], [], count()
    while True:
        now_s = time.monotonic() - zero_s
        pause_s = max(under_way[0][0] - now_s, 0.0) if under_way else None
        ready, _, _ = select.select([near, far, stop], [], [], pause_s)
        if stop in ready:
            return _report(forward, late_s)
        while under_way and under_way[0][0] <= time.monotonic() - zero_s:
            due_s, _, to, packet = heapq.heappop(under_way)
            late_s.append(time.monotonic() - zero_s - due_s)
            os.write(to, packet)
        for tun in ready:
            way, to = routes[tun]
            for packet in _waiting_packets(tun):
                arrival_s = way.arrival_s(len(packet), time.monotonic() - zero_s)
                if arrival_s is not None:
                    heapq.heappush(under_way, (arrival_s, next(order), to, packet))


def _waiting_packets(tun):
    for _ in range(_MOST_READ):
        try:
            packet = os.read(tun, 65536)
        except BlockingIOError:
            return
        if packet[0] >> 4 == 4:  # IPv6 looks for neighbours of its own accord
            yield packet


def _report(forward, late_s):
    late_s = sorted(late_s) or [0.0]
    return LinkReport(
        n_offered=forward.n_offered,
        n_dropped=forward.n_dropped,
        n_lost=forward.n_lost,
        longest_wait_s=forward.longest_wait_s,
        n_served=len(late_s),
        late_median_s=late_s[len(late_s) // 2],
        late_99_s=late_s[int(len(late_s) * 0.99)],
        late_most_s=late_s[-1],
    )


def main():
    name, text = sys.argv[1:]
    settings = LinkSettings(**json.loads(text))
    ways = _ways(settings)
    near, far = _sides(name)
    try:
        near_tun = _open_tun(near, NEAR_ADDRESS, FAR_ADDRESS)
        far_tun = _open_tun(far, FAR_ADDRESS, NEAR_ADDRESS)
        run_before_others(priority=2)
        zero_s = time.monotonic() - settings.offset_s
        print("ready", zero_s, flush=True)
        print(json.dumps(asdict(_serve(near_tun, far_tun, ways, zero_s))))
    finally:
        _remove(name)


if __name__ == "__main__":
    main()
