"""The emulated link against arithmetic: first its formulas alone, then with packets of UDP.

Packets are stamped when they are sent and, by the kernel, when they arrive. A tolerance is 1 ms and
what the link itself reports as its lateness; counts are exact.
"""

import os
import select
import signal
import socket
import statistics
import struct
import subprocess
import sys
import time
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.link.paths import CapacityPaths
from tests.emulation.link import (
    FAR_ADDRESS,
    NEAR_ADDRESS,
    Link,
    LinkSettings,
    OneWay,
    RateLoop,
    run_before_others,
)
from tests.emulation.transfer import in_own_thread, socket_in, timed_transfer

PORT = 5002
HEADER_BYTES = 28  # IPv4 20, UDP 8
FULL_BYTES = 1500
FULL_BITS = FULL_BYTES * 8
TOLERANCE_S = 1e-3
ON_OFF = ((0.10, 4e6), (0.05, 0.0), (0.10, 1e6))
SO_RCVBUFFORCE, SO_TIMESTAMPNS = 33, 35  # <asm-generic/socket.h>


# ---- formulas


@pytest.mark.parametrize(
    ("start_s", "bits", "expected_s"),
    [
        (0.0, 4000, 0.001),  # 4 Mbit/s
        (0.09, 40_000, 0.10),  # to the very end of the first piece
        (0.09, 41_000, 0.151),  # held over the outage, then 1 Mbit/s
        (0.12, 1000, 0.151),  # begins in the outage
        (0.24, 14_000, 0.251),  # 10 kbit, then the loop begins again with 4 Mbit/s
        (2.5, 4000, 2.501),  # ten loops later
        (0.0, 5_000_000, 2.5),  # ten whole loops of 500 kbit
    ],
)
def test_sending_times_solved_by_hand(start_s, bits, expected_s):
    assert RateLoop(ON_OFF).sent_s(start_s, bits) == pytest.approx(expected_s, abs=1e-9)


@given(
    rates=st.lists(st.sampled_from([0.0, 1e5, 1e6, 8e6]), max_size=5),
    start=st.integers(0, 5000),
    bits=st.integers(400, 1_000_000),
)
def test_sending_times_agree_with_cumulative_bits(rates, start, bits):
    rates = [*rates, 2e6]
    step_s, start_s = 1 / 8, start / 1024  # sums of these are exact
    paths = CapacityPaths.from_rates(rates, step_s)
    expected_s = float(paths.time_at_bits_s(paths.carried_bits(start_s) + bits))
    sent_s = RateLoop([(step_s, rate) for rate in rates]).sent_s(start_s, bits)
    assert sent_s == pytest.approx(expected_s, abs=1e-9)


def test_a_rate_that_never_carries_anything_is_refused():
    with pytest.raises(ValueError, match=r"pieces: expected one that carries bits, got \[\(1.0, 0"):
        RateLoop([(1.0, 0.0)])


def one_way(**changes):
    settings = {"buffer_bytes": 3000, "delay_s": 0.1, "loss_frac": 0.0, "seed": 1} | changes
    return OneWay(RateLoop([(1.0, 12_000.0)]), **settings)  # a full packet each second


def test_the_queue_drops_what_exceeds_it_until_a_packet_has_left():
    way = one_way()
    arrivals = [way.arrival_s(FULL_BYTES, now) for now in (0.0, 0.0, 0.5, 1.0, 1.5, 10.0)]
    assert arrivals == pytest.approx([1.1, 2.1, None, 3.1, None, 11.1])
    assert (way.n_offered, way.n_dropped, way.n_lost) == (6, 2, 0)
    assert way.longest_wait_s == pytest.approx(1.0)


def test_a_lost_packet_has_used_the_link():
    way = one_way(loss_frac=1.0)
    assert way.arrival_s(FULL_BYTES, 0.0) is None
    way.loss_frac = 0.0
    assert way.arrival_s(FULL_BYTES, 0.0) == pytest.approx(2.1)
    assert way.n_lost == 1


# ---- packets


def live(test):
    return pytest.mark.root(pytest.mark.xdist_group("emulation")(test))


@dataclass
class Seen:
    """Times of the link's trace, by the packet's number."""

    sent_s: list = field(default_factory=list)
    arrived_s: dict = field(default_factory=dict)


def burst(link, n_packets, n_bytes=FULL_BYTES, *, expect=None, backward=False, quiet_s=1.0):
    """Send UDP packets back to back; wait until `expect` arrived, or none for `quiet_s`."""

    def run():
        run_before_others(priority=1)
        ends = (link.near, link.far), (NEAR_ADDRESS, FAR_ADDRESS)
        (source, sink), (_, address) = ends if not backward else (e[::-1] for e in ends)
        with (
            socket_in(source, socket.SOCK_DGRAM) as sender,
            socket_in(sink, socket.SOCK_DGRAM) as receiver,
        ):
            receiver.setsockopt(socket.SOL_SOCKET, SO_RCVBUFFORCE, 2**24)
            receiver.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
            receiver.bind((address, PORT))
            receiver.settimeout(quiet_s)
            sender.connect((address, PORT))
            # the kernel stamps by the clock of the day
            ahead_s = time.clock_gettime(time.CLOCK_REALTIME) - time.monotonic()
            seen = Seen()
            for number in range(n_packets):
                seen.sent_s.append(time.monotonic() - link.zero_s)
                sender.send(struct.pack("I", number).ljust(n_bytes - HEADER_BYTES, b"\0"))
            receive(receiver, seen, ahead_s + link.zero_s, expect or n_packets)
            return seen

    return in_own_thread(run)


def receive(receiver, seen, zero_s, n_expected):
    while len(seen.arrived_s) < n_expected:
        try:
            data, extra, _, _ = receiver.recvmsg(FULL_BYTES, 64)
        except TimeoutError:
            return
        stamp = next(d for _, kind, d in extra if kind == SO_TIMESTAMPNS)
        seconds, nanoseconds = struct.unpack("qq", stamp)
        arrived_s = seconds + nanoseconds * 1e-9 - zero_s
        seen.arrived_s[struct.unpack_from("I", data)[0]] = arrived_s


def tolerance_s(link):
    """Of nine packets in ten; the report must not excuse everything."""
    assert link.report.late_99_s < 0.02, f"this machine is too busy to tell: {link.report}"
    return TOLERANCE_S + link.report.late_99_s


def assert_on_time(link, seen, expected_s):
    errors_s = sorted(abs(seen.arrived_s[i] - due_s) for i, due_s in enumerate(expected_s))
    within_s = tolerance_s(link)
    assert errors_s[int(len(errors_s) * 0.9)] < within_s, (errors_s[-5:], link.report)


def settings(pieces, **changes):
    return LinkSettings(**({"pieces": pieces, "rtt_s": 0.06, "buffer_bytes": 1e6} | changes))


@live
@pytest.mark.parametrize("rtt_s", [0.02, 0.2])
def test_round_trip_of_a_packet_alone(emulation, rtt_s):
    forth_s, back_s = [], []
    with Link(settings(((1.0, 2e6),), rtt_s=rtt_s, back_bps=10e6)) as link:
        for _ in range(9):
            for backward, times_s in ((False, forth_s), (True, back_s)):
                seen = burst(link, 1, backward=backward)
                times_s.append(seen.arrived_s[0] - seen.sent_s[0])
    within_s = tolerance_s(link)
    assert statistics.median(forth_s) == pytest.approx(rtt_s / 2 + FULL_BITS / 2e6, abs=within_s)
    assert statistics.median(back_s) == pytest.approx(rtt_s / 2 + FULL_BITS / 10e6, abs=within_s)


@live
@pytest.mark.parametrize("rate_bps", [0.5e6, 4e6, 16e6])
def test_rate_and_queue_delay_at_a_constant_rate(emulation, rate_bps):
    n_packets = int(0.5 * rate_bps / FULL_BITS)
    with Link(settings(((0.3, rate_bps),))) as link:
        seen = burst(link, n_packets)
    gap_s = FULL_BITS / rate_bps
    begin_s = seen.sent_s[0] + 0.03
    assert_on_time(link, seen, [begin_s + gap_s * (i + 1) for i in range(n_packets)])
    span_s = seen.arrived_s[n_packets - 1] - seen.arrived_s[0]
    assert (n_packets - 1) * FULL_BITS / span_s == pytest.approx(rate_bps, rel=0.02)
    waits_s = [seen.sent_s[0] + gap_s * i - sent_s for i, sent_s in enumerate(seen.sent_s)]
    within_s = 2e-3 + link.report.late_most_s
    assert link.report.longest_wait_s == pytest.approx(max(waits_s), abs=within_s)


@live
@pytest.mark.parametrize("offset_s", [0.0, 0.04, 0.12, 0.2])
def test_steps_outages_and_the_loop_of_a_trace(emulation, offset_s):
    n_packets = 80  # 0.96 Mbit: nearly two loops of 0.5 Mbit
    with Link(settings(ON_OFF, offset_s=offset_s)) as link:
        seen = burst(link, n_packets)
    paths = CapacityPaths.from_rates([4e6, 4e6, 0.0, 1e6, 1e6], 0.05)
    begin_bits = float(paths.carried_bits(seen.sent_s[0]))
    bits = [begin_bits + FULL_BITS * (i + 1) for i in range(n_packets)]
    assert_on_time(link, seen, paths.time_at_bits_s(bits) + 0.03)


@live
def test_a_full_buffer_drops_the_rest_of_a_burst(emulation):
    with Link(settings(((1.0, 0.6e6),), buffer_bytes=20 * FULL_BYTES)) as link:
        seen = burst(link, 60, expect=60, quiet_s=0.3)
    # each 20 ms that the burst takes lets one more in
    n_more = int((seen.sent_s[-1] - seen.sent_s[0] + tolerance_s(link)) / 0.02)
    assert n_more <= 5, "the burst took too long to tell"
    n_arrived = len(seen.arrived_s)
    assert 20 <= n_arrived <= 20 + n_more
    assert link.report.n_offered == 60
    assert link.report.n_dropped == 60 - n_arrived
    if n_more == 0:
        assert sorted(seen.arrived_s) == list(range(20))


@live
def test_random_loss_has_its_rate_and_keeps_the_time(emulation):
    n_packets, loss_frac, n_bytes = 2000, 0.05, 100
    with Link(settings(((1.0, 4e6),), loss_frac=loss_frac, seed=7)) as link:
        seen = burst(link, n_packets, n_bytes, quiet_s=0.3)
    lost = [i not in seen.arrived_s for i in range(n_packets)]
    assert sum(lost) == link.report.n_lost
    assert link.report.n_dropped == 0
    standard_error = (loss_frac * (1 - loss_frac) / n_packets) ** 0.5
    assert sum(lost) / n_packets == pytest.approx(loss_frac, abs=5 * standard_error)
    pairs = sum(a and b for a, b in pairwise(lost))
    assert pairs < 20  # independent: 5 expected, by a Poisson law
    last = max(seen.arrived_s)
    due_s = seen.sent_s[0] + 0.03 + (last + 1) * n_bytes * 8 / 4e6
    assert seen.arrived_s[last] == pytest.approx(due_s, abs=tolerance_s(link) + 2e-3)


# ---- nothing is left behind


def assert_nothing_left(link):
    assert not any((Path("/run/netns") / name).exists() for name in (link.near, link.far))
    assert not Path(f"/proc/{link._process.pid}").exists()


def fail_inside(link):
    assert (Path("/run/netns") / link.near).exists()
    raise KeyError("mine")


@live
def test_a_failure_inside_the_block_leaves_nothing(emulation):
    link = Link(settings(((1.0, 1e6),)))
    with pytest.raises(KeyError, match="mine"), link:
        fail_inside(link)
    assert_nothing_left(link)


KILLED = """
import os, signal
from link import Link, LinkSettings
with Link(LinkSettings(pieces=((1.0, 1e6),), rtt_s=0.06, buffer_bytes=1e6)) as link:
    print(link._process.pid, link.near, link.far, flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


@live
def test_a_link_whose_tests_were_killed_leaves_nothing(emulation):
    run = subprocess.run(
        [sys.executable, "-c", KILLED],
        cwd=Path(__file__).parent, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert run.returncode == -signal.SIGKILL, run.stderr
    pid, *namespaces = run.stdout.split()
    await_end(int(pid))
    assert len(namespaces) == 2
    assert not any((Path("/run/netns") / name).exists() for name in namespaces)


def await_end(pid):
    """Wait for a process that is no child of this one."""
    try:
        descriptor = os.pidfd_open(pid)
    except ProcessLookupError:
        return
    try:
        assert select.select([descriptor], [], [], 20.0)[0], f"process {pid} goes on"
    finally:
        os.close(descriptor)


@live
def test_a_link_that_dies_is_told_and_leaves_nothing(emulation):
    link = Link(settings(((1.0, 1e6),)))
    with pytest.raises(RuntimeError, match="the emulated link failed"), link:
        link._process.kill()
    assert_nothing_left(link)


@live
def test_a_link_that_cannot_start_says_why(emulation):
    link = Link(settings(((1.0, 0.0),)))
    with pytest.raises(RuntimeError, match=r"(?s)did not start: .*expected one that carries bits"):
        link.__enter__()
    assert_nothing_left(link)


@live
def test_a_transfer_that_fails_leaves_nothing(emulation):
    link = Link(settings(((1.0, 1e6),)))
    with pytest.raises(FileNotFoundError, match="No such file"), link:
        timed_transfer(link, 1000, congestion="none such")
    assert_nothing_left(link)
