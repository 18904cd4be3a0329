"""One session of tests against a server: round trips, TCP both ways, within a budget of bytes.

Everything that was measured is handed to `keep` as soon as it is there, so that an interruption
loses nothing, and of the test that runs the second it is in.
"""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from linkfit.errors import InputError
from linkfit.probe.budget import Budget
from linkfit.probe.interface import interface_towards, local_address, read_counters
from linkfit.probe.iperf_test import TestOrder, TestOutcome, run_test
from linkfit.probe.nat import Translation, seen_address, tell_translation
from linkfit.probe.nat_timer import NatTimer, idle_times_s, watch_idle
from linkfit.probe.path_mtu import PathMtu, find_path_mtu, ping_answers
from linkfit.probe.round_trips import Probing, RoundTrip, can_ping, connect_once
from linkfit.probe.server_faults import fault_of
from linkfit.probe.session_plan import LEAST_PAYLOAD_BYTES, SessionPlan
from linkfit.probe.tested_rates import rates_tested_bps
from linkfit.units import format_count

_IDLE_PROBES = 20
_PROBE_INTERVAL_S = 0.25
_FULL_FRAC = 0.95  # a link that carries less of what is sent is full
_FILLING_S = 1.0  # until a test keeps the link busy
_USUAL_MTU_BYTES, _MOST_MTU_BYTES = 1500, 9000
_LOOPBACK = "lo"  # what it sends it receives, so one direction counts


@dataclass(frozen=True, slots=True, kw_only=True)
class TestDone:
    """A test that ran: when, what it gave, and what it cost at the interface. [bytes]"""

    __test__ = False

    start_s: float
    outcome: TestOutcome
    spent_bytes: float

    @property
    def has_figures(self) -> bool:
        """Does its report hold a rate?"""
        return rates_tested_bps(self.outcome.report).size > 0


class Keeper(Protocol):
    """Takes what was measured, at once, wherever it is kept."""

    def test(self, done: TestDone) -> None:
        """Keep one test."""

    def round_trips(self, found: tuple[RoundTrip, ...]) -> None:
        """Keep probes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What a session found.

    `ended` is "done", "budget", "interrupted", "failed" (a test gave no figure, `fault` says why
    and what to do) or "unreachable". `path_mtu` is what a search found, `believed_mtu_bytes` what
    the kernel takes it for.
    """

    plan: SessionPlan
    ended: str
    interface: str
    spent_bytes: float
    tests: tuple[TestDone, ...]
    round_trips: tuple[RoundTrip, ...]
    probed_by: str
    translation: Translation
    path_mtu: PathMtu | None
    believed_mtu_bytes: int | None
    nat_timer: NatTimer | None
    n_not_run: int
    fault: str

    @property
    def has_figures(self) -> bool:
        """Did any test give a rate?"""
        return any(done.has_figures for done in self.tests)


class Meter:
    """Bytes that crossed an interface since the meter was made.

    A counter that falls was set to zero (the interface went and came back), and an interface
    that is gone carries nothing: neither forgets what was counted before.
    """

    def __init__(self, interface: str) -> None:
        self.interface = interface
        self._last_bytes = self._count()
        self._counted_bytes = 0

    def _count(self) -> int:
        counters = read_counters(self.interface)
        if self.interface == _LOOPBACK:
            return counters.sent_bytes
        return counters.received_bytes + counters.sent_bytes

    def spent_bytes(self) -> float:
        """What has crossed so far. [bytes]"""
        try:
            now_bytes = self._count()
        except InputError:
            return float(self._counted_bytes)
        grown_bytes = now_bytes - self._last_bytes
        self._counted_bytes += grown_bytes if grown_bytes >= 0 else now_bytes
        self._last_bytes = now_bytes
        return float(self._counted_bytes)


def run_session(
    plan: SessionPlan,
    keeper: Keeper,
    *,
    say: Callable[[str], None] = lambda _text: None,
    now_s: Callable[[], float] = time.time,
) -> Session:
    """Run the tests of `plan` one after another, until done or until the budget is spent.

    Parameters
    ----------
    plan : SessionPlan
        What to do.
    keeper : Keeper
        Takes each result as soon as it is there.
    say : callable
        Told what is being done.
    now_s : callable
        The clock, seconds since 1970 UTC.

    Returns
    -------
    session : Session

    Raises
    ------
    InputError
        If no route leads to the server, an address or the interface is none, or iperf3 is not
        installed.
    """
    own_address = local_address(plan.host)
    tell_translation(own_address, None, plan.wan_address)  # a wrong address is told before
    interface = plan.interface or interface_towards(plan.host)
    run = _Run(plan, keeper, Meter(interface), say, now_s)
    try:
        ended = run.everything(6 if ":" in own_address else 4)
    except KeyboardInterrupt:
        ended = "interrupted"
    return Session(
        plan=plan, ended=ended, interface=interface, spent_bytes=run.meter.spent_bytes(),
        tests=tuple(run.tests), round_trips=tuple(run.trips), probed_by=run.probed_by,
        translation=tell_translation(own_address, _seen(run.tests), plan.wan_address),
        path_mtu=run.path_mtu, believed_mtu_bytes=run.believed_mtu_bytes,
        nat_timer=run.nat_timer, n_not_run=run.n_left, fault=run.fault,
    )  # fmt: skip


@dataclass(slots=True)
class _Run:
    """A session while it runs."""

    plan: SessionPlan
    keeper: Keeper
    meter: Meter
    say: Callable[[str], None]
    now_s: Callable[[], float]
    tests: list[TestDone] = field(default_factory=list)
    trips: list[RoundTrip] = field(default_factory=list)
    path_mtu: PathMtu | None = None
    believed_mtu_bytes: int | None = None
    nat_timer: NatTimer | None = None
    n_left: int = 0
    fault: str = ""
    probe_port: int | None = None
    probed_by: str = "ping"

    def everything(self, ip_version: int) -> str:
        """Why the session ended."""
        plan = self.plan
        self.n_left = len(list(plan.orders()))
        may_ping = can_ping(plan.host)
        if plan.probe_port is not None or not may_ping:
            self.probe_port = plan.probe_port or plan.port
            self.probed_by = f"TCP handshakes with port {self.probe_port}"
        try:
            first = connect_once(plan.host, plan.port)
        except OSError as error:
            self.fault = (
                f"it cannot be reached ({error.strerror}); see whether the link is up and the "
                "address is right"
            )
            return "unreachable"
        self.believed_mtu_bytes = None if first is None else first.path_mtu_bytes
        self.say("round trips of the idle link")
        self._probe_idle()
        if may_ping and self.meter.interface != _LOOPBACK:
            self.say("largest packet that reaches the server")
            self.path_mtu = find_path_mtu(
                ping_answers(plan.host, ip_version=ip_version), ip_version=ip_version,
                most_bytes=min(self.believed_mtu_bytes or _USUAL_MTU_BYTES, _MOST_MTU_BYTES),
            )  # fmt: skip
        ended = self._run_tests()
        if plan.nat_timer_s is not None and ended in ("done", "budget"):
            times_s = idle_times_s(plan.nat_timer_s)
            self.say(
                f"{format_count(len(times_s), 'connection')} left idle, up to {times_s[-1]:g} s"
            )
            self.nat_timer = watch_idle(plan.host, plan.probe_port or plan.port, times_s)
        return ended

    def _probe_idle(self) -> None:
        probing = Probing(
            self.plan.host, port=self.probe_port, interval_s=_PROBE_INTERVAL_S, loaded=False
        )
        try:
            with probing:
                time.sleep(_PROBE_INTERVAL_S * (_IDLE_PROBES - 0.5))
        finally:
            self._keep_trips(probing.found)

    def _keep_trips(self, found: tuple[RoundTrip, ...]) -> None:
        self.trips += found
        self.keeper.round_trips(found)

    def _run_tests(self) -> str:
        """Why the tests ended."""
        orders = list(self.plan.orders())
        budget = Budget(limit_bytes=self.plan.budget_bytes)
        for number, order in enumerate(orders, start=1):
            budget.spent_bytes = self.meter.spent_bytes()
            payload_bytes = min(budget.payload_bytes(), _udp_payload_bytes(order))
            if payload_bytes < LEAST_PAYLOAD_BYTES:
                return "budget"
            self.say(f"test {number} of {len(orders)}: {_shown(order)}")
            done = self._run_one(replace(order, most_payload_bytes=payload_bytes), budget)
            self.n_left -= 1
            if done.outcome.ended in ("interrupted", "budget"):
                return done.outcome.ended
            # datagrams may be filtered where TCP is not: that ends no session
            if not done.has_figures and order.udp_rate_bps is None:
                self.fault = fault_of(done.outcome)
                return "failed"
        return "done"

    def _run_one(self, order: TestOrder, budget: Budget) -> TestDone:
        start_s, before_bytes = self.now_s(), self.meter.spent_bytes()

        def run() -> TestOutcome:
            return run_test(
                order,
                spent_bytes=lambda: self.meter.spent_bytes() - before_bytes,
                most_bytes=budget.left_bytes,
            )

        # a handshake with the server's own port would disturb the test that runs
        trips: tuple[RoundTrip, ...] = ()
        if self.probe_port == self.plan.port:
            outcome = run()
        else:
            probing = Probing(
                self.plan.host, port=self.probe_port, interval_s=_PROBE_INTERVAL_S, loaded=True
            )
            with probing:
                outcome = run()
            trips = tuple(trip for trip in probing.found if trip.time_s >= start_s + _FILLING_S)
        spent_bytes = self.meter.spent_bytes() - before_bytes
        done = TestDone(start_s=start_s, outcome=outcome, spent_bytes=spent_bytes)
        self.tests.append(done)
        self.keeper.test(done)
        if _filled_the_link(done):
            self._keep_trips(trips)
        return done


def _filled_the_link(done: TestDone) -> bool:
    """Did the test keep the link busy? Datagrams that all got through did not."""
    rates = rates_tested_bps(done.outcome.report)
    asked_bps = done.outcome.order.udp_rate_bps
    if not rates.size or asked_bps is None:
        return bool(rates.size)
    return float(np.median(rates)) < _FULL_FRAC * asked_bps


def _udp_payload_bytes(order: TestOrder) -> int:
    """What a test of datagrams sends in its time; no limit for TCP. [bytes]"""
    if order.udp_rate_bps is None:
        return 2**62
    return int(max(order.udp_rate_bps * order.duration_s / 8, LEAST_PAYLOAD_BYTES))


def _shown(order: TestOrder) -> str:
    way = "up" if order.is_up else "down"
    transport = "TCP" if order.udp_rate_bps is None else "UDP"
    streams = "1 stream" if order.n_streams == 1 else f"{order.n_streams} streams"
    return f"{transport} {way}, {streams}, {order.duration_s} s"


def _seen(tests: list[TestDone]) -> str | None:
    """The address that the server saw, from the first test in which it said so."""
    for done in tests:
        try:
            said = json.loads(done.outcome.report).get("server_output_text", "")
        except ValueError:
            continue
        address = seen_address(str(said))
        if address is not None:
            return address
    return None
