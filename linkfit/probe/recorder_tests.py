"""Active tests of the recorder: due when the schedule says, never beyond the budget."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import tzinfo

from linkfit.errors import InputError
from linkfit.probe.budget import Budget
from linkfit.probe.iperf_test import TestOrder, run_test
from linkfit.probe.schedule import (
    TestBudget,
    cycle_bounds_s,
    day_start_s,
    moments_s,
    n_tests_a_day,
)
from linkfit.probe.session import Meter
from linkfit.probe.session_plan import LEAST_PAYLOAD_BYTES
from linkfit.probe.store import Store, TestRow
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_FIRST_COST_BYTES = 10e6  # of a test, before one has told
_LATE_S = 600.0  # a test that is later than this is left out: the machine slept
_COSTS_LOOKED_AT = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """Which tests, against whom, within what.

    Parameters
    ----------
    host, port
        Of an iperf3 server that the user runs.
    seconds : int
        Length of one test. [s]
    daily_bytes, cycle_bytes : float
        What tests may cost in a UTC day and in a billing cycle, both directions. [bytes]
    cycle_day : int
        Day of the month on which a cycle begins.
    zone : tzinfo
        Whose midnight begins it.
    seed : int
        Of the moments.
    """

    __test__ = False

    host: str
    port: int
    seconds: int
    daily_bytes: float
    cycle_bytes: float
    cycle_day: int
    zone: tzinfo
    seed: int = 0


def budget_at(store: Store, plan: TestPlan, time_s: float) -> TestBudget:
    """The budget as the committed tests have left it at `time_s`."""
    spent = "SELECT ifnull(sum(spent_bytes), 0) FROM tests WHERE start_s >= ? AND start_s < ?"
    begin_s, end_s = cycle_bounds_s(time_s, plan.cycle_day, plan.zone)
    day_s = day_start_s(time_s)
    today, cycle = (
        float(store.database.execute(spent, span).fetchone()[0])
        for span in ((day_s, day_s + SECONDS_PER_DAY), (begin_s, end_s))
    )
    return TestBudget(
        daily_bytes=plan.daily_bytes, cycle_bytes=plan.cycle_bytes,
        spent_today_bytes=today, spent_cycle_bytes=cycle,
    )  # fmt: skip


def todays_moments_s(store: Store, plan: TestPlan, time_s: float) -> tuple[float, ...]:
    """When tests are due in the UTC day of `time_s`, from what was known when it began."""
    day_s = day_start_s(time_s)
    rows = store.database.execute(
        "SELECT start_s, spent_bytes FROM tests WHERE start_s < ? AND error = '' "
        "ORDER BY start_s", (day_s,),
    ).fetchall()  # fmt: skip
    by_hour = [0] * 24
    for start_s, _ in rows:
        by_hour[int(start_s % SECONDS_PER_DAY // SECONDS_PER_HOUR)] += 1
    costs = sorted(cost for _, cost in rows[-_COSTS_LOOKED_AT:])
    cost_bytes = float(costs[len(costs) // 2]) if costs else _FIRST_COST_BYTES
    _, end_s = cycle_bounds_s(time_s, plan.cycle_day, plan.zone)
    n_tests = n_tests_a_day(
        replace(budget_at(store, plan, day_s), spent_today_bytes=0.0),
        cost_bytes=max(cost_bytes, LEAST_PAYLOAD_BYTES),
        left_days=(end_s - day_s) / SECONDS_PER_DAY,
    )
    return moments_s(day_s, min(n_tests, 24 * 4), by_hour, seed=plan.seed)


def _way_that_knows_less(store: Store) -> bool:
    """Shall the next test go up? Where both ways hold as many, yes."""
    n_up, n_down = store.database.execute(
        "SELECT ifnull(sum(is_up), 0), ifnull(sum(NOT is_up), 0) FROM tests"
    ).fetchone()
    return bool(n_up <= n_down)


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A test to run now, and what it may cost. [bytes]"""

    order: TestOrder
    most_bytes: float

    @property
    def is_up(self) -> bool:
        """Does this machine send?"""
        return self.order.is_up


class Tester:
    """Runs one test at a time in a thread, when one is due.

    Parameters
    ----------
    plan : TestPlan
        What to do.
    interface : str
        Whose counters tell what a test costs.
    found : callable
        Takes each test that ended.
    """

    __test__ = False

    def __init__(
        self,
        plan: TestPlan,
        interface: str,
        found: Callable[[TestRow], None],
        *,
        now_s: Callable[[], float] = time.time,
    ) -> None:
        self.plan, self._interface, self._found, self._now_s = plan, interface, found, now_s
        self._thread: threading.Thread | None = None
        self._done_until_s = now_s()
        self._day_s = -1.0
        self._moments_s: tuple[float, ...] = ()

    @property
    def is_running(self) -> bool:
        """Does a test run now?"""
        return self._thread is not None and self._thread.is_alive()

    def due(self, store: Store, time_s: float) -> Due | None:
        """The test that is due now and paid for; None if there is none."""
        if self.is_running:
            return None
        if day_start_s(time_s) != self._day_s:
            self._day_s = day_start_s(time_s)
            self._moments_s = todays_moments_s(store, self.plan, time_s)
        due = [at for at in self._moments_s if self._done_until_s < at <= time_s]
        self._done_until_s = max(self._done_until_s, time_s)
        if not due or time_s - due[-1] > _LATE_S:
            return None
        left_bytes = budget_at(store, self.plan, time_s).left_bytes
        return self.paid_for(left_bytes, is_up=_way_that_knows_less(store))

    def paid_for(self, most_bytes: float, *, is_up: bool = True) -> Due | None:
        """A test that may cost `most_bytes`; None if that is too little for one."""
        if most_bytes <= 0:
            return None
        payload_bytes = Budget(limit_bytes=most_bytes).payload_bytes()
        if payload_bytes < LEAST_PAYLOAD_BYTES:
            return None
        order = TestOrder(
            host=self.plan.host, port=self.plan.port, is_up=is_up,
            duration_s=self.plan.seconds, most_payload_bytes=payload_bytes,
        )  # fmt: skip
        return Due(order=order, most_bytes=most_bytes)

    def start(self, due: Due) -> None:
        """Begin the test, in a thread."""
        self._thread = threading.Thread(target=self._run, args=(due,), daemon=True)
        self._thread.start()

    def _run(self, due: Due) -> None:
        order, most_bytes = due.order, due.most_bytes
        start_s, began_s = self._now_s(), time.monotonic()
        spent_bytes = 0.0
        try:
            meter = Meter(self._interface)
            outcome = run_test(order, spent_bytes=meter.spent_bytes, most_bytes=most_bytes)
            spent_bytes = meter.spent_bytes()
            ended, error, report = outcome.ended, outcome.error, outcome.report
        except (InputError, OSError) as wrong:  # no interface, no program: told in the store
            ended, error, report = "failed", str(wrong), ""
        self._found(
            TestRow(
                start_s=start_s, took_s=time.monotonic() - began_s, is_up=order.is_up,
                ended=ended, spent_bytes=int(spent_bytes), error=error, report=report,
            )
        )  # fmt: skip
