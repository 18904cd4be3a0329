import threading
from datetime import UTC

import pytest

from linkfit.probe import recorder_tests
from linkfit.probe.iperf_test import TestOutcome
from linkfit.probe.recorder_tests import Tester, TestPlan, budget_at, todays_moments_s
from linkfit.probe.store import Batch, Store, TestRow

DAY_S = 1_781_913_600.0  # 2026-06-20, midnight UTC


@pytest.fixture
def store(tmp_path):
    store = Store(tmp_path / "camp.store")
    yield store
    store.close()


def plan(**more):
    base = {"host": "10.0.0.1", "port": 5201, "seconds": 10, "daily_bytes": 50e6,
            "cycle_bytes": 1e9, "cycle_day": 5, "zone": UTC}  # fmt: skip
    return TestPlan(**(base | more))


def test_row(start_s, spent_bytes):
    return TestRow(start_s=start_s, took_s=10.0, is_up=True, ended="done",
                   spent_bytes=spent_bytes, error="", report="")  # fmt: skip


test_row.__test__ = False


def test_the_budget_counts_this_day_and_this_cycle(store):
    rows = [test_row(DAY_S + 60, 7_000_000), test_row(DAY_S - 60, 5_000_000),
            test_row(DAY_S - 30 * 86400, 900_000_000)]  # fmt: skip
    store.commit(Batch(tests=rows))
    budget = budget_at(store, plan(), DAY_S + 3600)
    assert (budget.spent_today_bytes, budget.spent_cycle_bytes) == (7e6, 12e6)
    assert budget.left_bytes == 43e6


def test_a_recorder_that_starts_again_keeps_to_the_days_moments(store):
    first = todays_moments_s(store, plan(), DAY_S + 10)
    store.commit(Batch(tests=[test_row(first[0], 10_000_000)]))
    assert todays_moments_s(store, plan(), DAY_S + 50_000) == first
    assert len(first) == 5  # 50 MB a day at 10 MB until one has told


def test_dear_tests_are_fewer(store):
    store.commit(Batch(tests=[test_row(DAY_S - 86400 * i, 24_000_000) for i in range(1, 4)]))
    assert len(todays_moments_s(store, plan(), DAY_S)) == 2
    assert len(todays_moments_s(store, plan(daily_bytes=20e6), DAY_S)) == 0


def test_a_month_of_days_never_spends_more_than_either_budget(store):
    the_plan = plan(cycle_bytes=600e6)
    spent = []
    for day in range(60):
        day_s = DAY_S + 86400 * day
        today = 0.0
        for at in todays_moments_s(store, the_plan, day_s):
            left = budget_at(store, the_plan, at).left_bytes
            cost = min(left, 17e6)
            store.commit(Batch(tests=[test_row(at, int(cost))]))
            today += cost
        assert today <= the_plan.daily_bytes
        spent.append(today)
    assert sum(spent[15:45]) <= the_plan.cycle_bytes * 1.001  # one whole cycle: 5 July to 5 August
    assert sum(spent[15:45]) > 0.5 * the_plan.cycle_bytes


def ran(monkeypatch, tester, due, spend_bytes=4_000_000):
    """Run a test with a fake of the one that would use the network."""
    found = threading.Event()
    orders = []

    class FakeMeter:
        def __init__(self, interface):
            assert interface == "wwan0"

        def spent_bytes(self):
            return spend_bytes

    def fake(order, *, spent_bytes, most_bytes):
        orders.append((order, most_bytes))
        return TestOutcome(order=order, ended="done", report="{}", error="", took_s=1.0, by="fake")

    monkeypatch.setattr(recorder_tests, "Meter", FakeMeter)
    monkeypatch.setattr(recorder_tests, "run_test", fake)
    tester.start(due)
    tester._thread.join(5)
    assert not found.is_set()
    return orders


def test_tests_are_due_once_go_both_ways_and_are_kept(store, monkeypatch):
    rows, moments = [], todays_moments_s(store, plan(), DAY_S)
    tester = Tester(plan(), "wwan0", rows.append, now_s=lambda: DAY_S)
    assert tester.due(store, moments[0] - 1) is None
    due = tester.due(store, moments[0] + 0.5)
    assert due.most_bytes == 50e6
    assert due.order.most_payload_bytes < 50e6 / 1.1
    ((order, most_bytes),) = ran(monkeypatch, tester, due)
    assert (order.is_up, most_bytes) == (True, 50e6)
    assert rows[0].spent_bytes == 4_000_000
    assert tester.due(store, moments[0] + 1.5) is None
    store.commit(Batch(tests=rows))
    assert not tester.due(store, moments[1] + 0.5).is_up


def test_a_moment_that_was_slept_through_is_left_out(store):
    tester = Tester(plan(), "wwan0", print, now_s=lambda: DAY_S)
    moments = todays_moments_s(store, plan(), DAY_S)
    assert tester.due(store, moments[0] - 1) is None
    assert tester.due(store, max(moments) + 4000) is None


def test_nothing_is_started_that_the_budget_does_not_pay(store):
    tester = Tester(plan(), "wwan0", print, now_s=lambda: DAY_S)
    assert tester.paid_for(0.0) is None
    assert tester.paid_for(200_000.0) is None


def test_no_server_no_interface_and_no_program_are_kept_as_what_they_are(store, monkeypatch):
    def gone(*_, **__):
        raise OSError("Network is unreachable")

    rows = []
    tester = Tester(plan(), "lo", rows.append, now_s=lambda: DAY_S)
    monkeypatch.setattr(recorder_tests, "run_test", gone)
    tester.start(tester.paid_for(50e6))
    tester._thread.join(5)
    assert (rows[0].ended, rows[0].error) == ("failed", "Network is unreachable")
