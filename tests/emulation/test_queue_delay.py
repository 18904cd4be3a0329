"""The queue before the link against this machine's own TCP: how late small packets are beside it.

``pytest tests/emulation/test_queue_delay.py -s`` prints each run.
"""

import select
import socket
import struct
import threading
import time
from dataclasses import dataclass

import numpy as np
import pytest

from linkfit.forecast.queue_delay import queue_bits, wait_s
from linkfit.link.paths import CapacityPaths
from tests.emulation.link import FAR_ADDRESS, Link, LinkSettings, run_before_others
from tests.emulation.test_transfer_model import STEP_S, TRACES_BPS
from tests.emulation.transfer import _Pair, in_own_thread, socket_in

pytestmark = [pytest.mark.root, pytest.mark.slow, pytest.mark.xdist_group("emulation")]
_PORT, _PROBE_BYTES, _EVERY_S = 5002, 100, 0.02
_SO_MAX_PACING_RATE = 47  # <asm-generic/socket.h>, bytes a second
_WIRE_FACTOR = 1500 / 1448  # packets of this TCP over their payload
RTT_S, BUFFER_BYTES = 0.04, 150e3


class _Paced(_Pair):
    """A transfer that the sender's own TCP holds to a rate."""

    def __init__(self, limit_bps):
        super().__init__()
        self.limit_bps = limit_bps

    def _sender(self, namespace, congestion):
        sender = super()._sender(namespace, congestion)
        if self.limit_bps is not None:
            each_s = int(self.limit_bps / _WIRE_FACTOR / 8)
            sender.setsockopt(socket.SOL_SOCKET, _SO_MAX_PACING_RATE, each_s)
        return sender


class Probes(threading.Thread):
    """Small packets from near to far, 50 a second; `seen` holds (sent, one-way delay) in s."""

    def __init__(self, link):
        super().__init__()
        self.link, self.seen, self.ended = link, [], threading.Event()

    def run(self):
        run_before_others(priority=1)
        sender = socket_in(self.link.near, socket.SOCK_DGRAM)
        receiver = socket_in(self.link.far, socket.SOCK_DGRAM)
        with sender, receiver:
            receiver.bind((FAR_ADDRESS, _PORT))
            due_s = time.monotonic()
            while not self.ended.is_set():
                if time.monotonic() >= due_s:
                    packet = struct.pack("d", time.monotonic()).ljust(_PROBE_BYTES - 28, b".")
                    sender.sendto(packet, (FAR_ADDRESS, _PORT))
                    due_s += _EVERY_S
                left_s = max(due_s - time.monotonic(), 0.0)
                if select.select([receiver], [], [], left_s)[0]:
                    sent_s = struct.unpack_from("d", receiver.recv(_PROBE_BYTES))[0]
                    self.seen.append((sent_s - self.link.zero_s, time.monotonic() - sent_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Delays of the probes beyond half a round trip, measured and by the model. [s]"""

    measured_s: np.ndarray
    model_s: np.ndarray

    def within(self, bound_s):
        return float((self.measured_s <= bound_s).mean()), float((self.model_s <= bound_s).mean())


def beside_a_transfer(trace, limit_bps, size_bytes):
    """Probes beside one transfer; those of its first two seconds do not count."""
    rates_bps = TRACES_BPS[trace]
    settings = LinkSettings(
        pieces=tuple((STEP_S, rate) for rate in rates_bps), rtt_s=RTT_S, buffer_bytes=BUFFER_BYTES
    )

    def transfer(link):
        with _Paced(limit_bps) as pair:
            return pair.run(link, [int(size_bytes)], "cubic")

    with Link(settings) as link:
        probes = Probes(link)
        probes.start()
        done = in_own_thread(lambda: transfer(link))
        probes.ended.set()
        probes.join()
    seen = np.array(probes.seen)
    at_s = seen[:, 0]
    counts = (at_s > done.start_s + 2.0) & (at_s < done.start_s + done.duration_s - 0.5)
    paths = CapacityPaths.from_rates(rates_bps, STEP_S)
    offered = np.inf if limit_bps is None else limit_bps
    # two rounds of the trace, so that the queue has settled where it is looked at
    twice = CapacityPaths.from_rates(np.tile(rates_bps, 2), STEP_S)
    waiting = queue_bits(twice, offered, BUFFER_BYTES * 8)[0]
    step = (at_s[counts] / STEP_S).astype(int) % len(rates_bps) + len(rates_bps)
    model_s = wait_s(paths, at_s[counts], 0, waiting[step], _PROBE_BYTES * 8)
    run = Run(measured_s=seen[counts, 1] - RTT_S / 2, model_s=model_s)
    for name, values in (("measured", run.measured_s), ("model", run.model_s)):
        points = ", ".join(f"{q * 1e3:.0f}" for q in np.quantile(values, [0.05, 0.5, 0.95]))
        print(f"{trace:<15}{limit_bps or np.inf:>10.3g} bit/s {name:<9}5, 50, 95 %: {points} ms")
    return run


@pytest.mark.parametrize("trace", ["steady 2", "noisy 4"])
def test_a_sender_without_a_limit_keeps_the_buffer_near_full(emulation, trace):
    """A loss-based sender falls to 0.7 of its window and climbs back: the queue is a little less
    than full, so the model is on the cautious side by at most that."""
    run = beside_a_transfer(trace, None, 2.5e6 if trace == "steady 2" else 4e6)
    ratio = np.median(run.measured_s) / np.median(run.model_s)
    print(f"{trace}: median measured over model {ratio:.2f}")
    assert 0.55 < ratio < 1.1


def test_under_a_limit_the_queue_stands_as_often_as_the_model_says(emulation):
    run = beside_a_transfer("noisy 4", 2e6, 2.5e6)
    for bound_s in (0.05, 0.1, 0.2):
        measured, model = run.within(bound_s)
        print(f"within {bound_s:g} s: measured {measured:.0%}, model {model:.0%}")
        assert measured == pytest.approx(model, abs=0.15)
