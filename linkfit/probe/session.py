"""One session of tests against a server: round trips, TCP both ways, within a budget of bytes.

Everything that was measured is handed to `keep` as soon as it is there, so that an interruption
loses the test that runs and nothing before it.
"""

import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

from linkfit._checks import count, one_of, positive
from linkfit.errors import InputError
from linkfit.probe.budget import Budget, cost_bytes
from linkfit.probe.interface import interface_towards, local_address, read_counters
from linkfit.probe.iperf_test import DEFAULT_PORT, TestOrder, TestOutcome, run_test
from linkfit.probe.nat import Translation, seen_address, tell_translation
from linkfit.probe.round_trips import Probing, RoundTrip, can_ping, connect_once, round_trips

WAYS = ("both", "up", "down")
_IDLE_PROBES = 20
_PROBE_INTERVAL_S = 0.25
_LEAST_PAYLOAD_BYTES = 250_000  # 1 s at 2 Mbit/s: less than that tells of slow start only
_LOOPBACK = "lo"  # what it sends it receives, so one direction counts


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPlan:
    """What a session shall do.

    Parameters
    ----------
    host, port
        Of an iperf3 server that the user runs.
    budget_bytes : float
        What may cross the interface, both directions, everything counted. [bytes]
    ways : {"both", "up", "down"}
        Directions of the link to test.
    seconds : int
        Length of one test. [s]
    n_rounds : int
        How often each direction is tested.
    n_streams : tuple of int
        Parallel streams of the tests, one test for each number.
    udp_rate_bps : float or None
        Also one test of datagrams at this rate, for loss and jitter. [bit/s]
    probe_port : int or None
        Port for TCP round trips where ping is not allowed; None: the server's while it is idle.
    interface : str or None
        Whose counters tell what was spent; None: the one that leads to the server.
    """

    host: str
    port: int = DEFAULT_PORT
    budget_bytes: float
    ways: str = "both"
    seconds: int = 10
    n_rounds: int = 1
    n_streams: tuple[int, ...] = (1,)
    udp_rate_bps: float | None = None
    probe_port: int | None = None
    interface: str | None = None

    def __post_init__(self) -> None:
        positive("budget", self.budget_bytes)
        one_of("ways", self.ways, WAYS)
        count("seconds", self.seconds)
        count("rounds", self.n_rounds)
        if not self.n_streams:
            raise InputError("streams: expected at least one number, got none")
        if self.udp_rate_bps is not None:
            positive("udp_rate", self.udp_rate_bps)

    def orders(self) -> Iterator[TestOrder]:
        """Every test, up and down in turn so that each round sees the same link."""
        ups = [True, False] if self.ways == "both" else [self.ways == "up"]
        for number in range(self.n_rounds):
            for n_streams in self.n_streams:
                for is_up in ups:
                    yield self._order(is_up, n_streams, None)
            if self.udp_rate_bps is not None and number == 0:
                for is_up in ups:
                    yield self._order(is_up, 1, self.udp_rate_bps)

    def _order(self, is_up: bool, n_streams: int, udp_rate_bps: float | None) -> TestOrder:
        return TestOrder(
            host=self.host, port=self.port, is_up=is_up, duration_s=self.seconds,
            n_streams=n_streams, udp_rate_bps=udp_rate_bps,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TestDone:
    """A test that ran: when, what it gave, and what it cost at the interface. [bytes]"""

    __test__ = False

    start_s: float
    outcome: TestOutcome
    spent_bytes: float


class Keeper(Protocol):
    """Takes what was measured, at once, wherever it is kept."""

    def test(self, done: TestDone) -> None:
        """Keep one test."""

    def round_trips(self, found: tuple[RoundTrip, ...]) -> None:
        """Keep probes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What a session found. `ended` is "done", "budget", "interrupted" or "unreachable"."""

    plan: SessionPlan
    ended: str
    interface: str
    spent_bytes: float
    tests: tuple[TestDone, ...]
    round_trips: tuple[RoundTrip, ...]
    probed_by: str
    translation: Translation
    path_mtu_bytes: int | None
    n_not_run: int


@dataclass(slots=True)
class _Found:
    tests: list[TestDone] = field(default_factory=list)
    trips: list[RoundTrip] = field(default_factory=list)
    n_not_run: int = 0


class _Meter:
    """Bytes that crossed the interface since the session began."""

    def __init__(self, interface: str) -> None:
        self._interface = interface
        self._began_bytes = self._count()

    def _count(self) -> int:
        counters = read_counters(self._interface)
        if self._interface == _LOOPBACK:
            return counters.sent_bytes
        return counters.received_bytes + counters.sent_bytes

    def spent_bytes(self) -> float:
        return float(max(self._count() - self._began_bytes, 0))


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
        If no route leads to the server, or iperf3 is not installed.
    """
    interface = plan.interface or interface_towards(plan.host)
    own_address = local_address(plan.host)
    meter, found = _Meter(interface), _Found()
    probe_port, probed_by = _probe_way(plan)
    first = None
    try:
        first = connect_once(plan.host, plan.port)
        say("round trips of the idle link")
        idle = round_trips(
            plan.host, port=probe_port, n_probes=_IDLE_PROBES, interval_s=_PROBE_INTERVAL_S
        )
        found.trips += idle
        keeper.round_trips(idle)
        ended = _run_tests(plan, keeper, meter, found, probe_port, say, now_s)
    except OSError:
        ended = "unreachable"
    except KeyboardInterrupt:
        ended = "interrupted"
    return Session(
        plan=plan, ended=ended, interface=interface, spent_bytes=meter.spent_bytes(),
        tests=tuple(found.tests), round_trips=tuple(found.trips), probed_by=probed_by,
        translation=tell_translation(own_address, _seen(found.tests)),
        path_mtu_bytes=None if first is None else first.path_mtu_bytes,
        n_not_run=found.n_not_run,
    )  # fmt: skip


def _probe_way(plan: SessionPlan) -> tuple[int | None, str]:
    """Port for round trips (None: ping) and how to say it."""
    if plan.probe_port is None and can_ping(plan.host):
        return None, "ping"
    port = plan.probe_port or plan.port
    return port, f"TCP handshakes with port {port}"


def _run_tests(
    plan: SessionPlan,
    keeper: Keeper,
    meter: _Meter,
    found: _Found,
    probe_port: int | None,
    say: Callable[[str], None],
    now_s: Callable[[], float],
) -> str:
    """Why the tests ended."""
    orders = list(plan.orders())
    budget = Budget(limit_bytes=plan.budget_bytes)
    for number, order in enumerate(orders):
        budget.spent_bytes = meter.spent_bytes()
        payload_bytes = min(budget.payload_bytes(), _udp_payload_bytes(order))
        if payload_bytes < _LEAST_PAYLOAD_BYTES:
            found.n_not_run = len(orders) - number
            return "budget"
        limited = _limited(order, payload_bytes)
        say(f"test {number + 1} of {len(orders)}: {_shown(order)}")
        start_s, before_bytes = now_s(), meter.spent_bytes()
        # a handshake with the server's own port would disturb the test that runs
        probing = (
            Probing(plan.host, port=probe_port, interval_s=_PROBE_INTERVAL_S, loaded=True)
            if probe_port != plan.port
            else None
        )
        outcome = _tested(limited, budget, meter, before_bytes, probing)
        done = TestDone(
            start_s=start_s, outcome=outcome, spent_bytes=meter.spent_bytes() - before_bytes
        )
        found.tests.append(done)
        keeper.test(done)
        if probing is not None:
            trips = tuple(trip for trip in probing.found if trip.time_s >= start_s + 1.0)
            found.trips += trips
            keeper.round_trips(trips)
        if outcome.ended in ("interrupted", "budget"):
            found.n_not_run = len(orders) - number - 1
            return outcome.ended
    return "done"


def _tested(
    order: TestOrder,
    budget: Budget,
    meter: _Meter,
    before_bytes: float,
    probing: Probing | None,
) -> TestOutcome:
    def run() -> TestOutcome:
        return run_test(
            order,
            spent_bytes=lambda: meter.spent_bytes() - before_bytes,
            most_bytes=budget.left_bytes,
        )

    if probing is None:
        return run()
    with probing:
        return run()


def _limited(order: TestOrder, payload_bytes: int) -> TestOrder:
    from dataclasses import replace

    return replace(order, most_payload_bytes=payload_bytes)


def _udp_payload_bytes(order: TestOrder) -> int:
    """What a test of datagrams sends in its time; no limit for TCP. [bytes]"""
    if order.udp_rate_bps is None:
        return 2**62
    return int(max(order.udp_rate_bps * order.duration_s / 8, _LEAST_PAYLOAD_BYTES))


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


def expected_cost_bytes(plan: SessionPlan, *, up_bps: float, down_bps: float) -> float:
    """What the tests of `plan` cost on a link of these rates, without the budget. [bytes]"""
    return sum(
        cost_bytes(order.udp_rate_bps or (up_bps if order.is_up else down_bps), order.duration_s)
        for order in plan.orders()
    )
