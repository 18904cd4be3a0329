import json
import math

import pytest

from linkfit.probe.iperf_test import TestOrder, TestOutcome
from linkfit.probe.nat import tell_translation
from linkfit.probe.nat_timer import NatTimer
from linkfit.probe.path_mtu import PathMtu
from linkfit.probe.round_trips import RoundTrip
from linkfit.probe.session import Session, TestDone
from linkfit.probe.session_plan import SessionPlan
from linkfit.report.measure_json import measure_record
from tests.probe.test_tested_rates import report


def a_test(text, *, error="", udp_rate_bps=None, ended="done"):
    order = TestOrder(host="camp.invalid", udp_rate_bps=udp_rate_bps)
    outcome = TestOutcome(order=order, ended=ended, report=text,
                          error=error, took_s=4.1234, by="libiperf")  # fmt: skip
    return TestDone(start_s=1_780_000_000.0, outcome=outcome, spent_bytes=4e6)


def session(**given):
    trips = (
        RoundTrip(time_s=1.0, rtt_s=0.05, loaded=False),
        RoundTrip(time_s=2.0, rtt_s=0.06, loaded=False),
        RoundTrip(time_s=3.0, rtt_s=math.inf, loaded=False),
    )
    return Session(
        **{
            "plan": SessionPlan(host="camp.invalid", budget_bytes=2e7), "ended": "done",
            "interface": "wwan0", "spent_bytes": 5e6, "tests": (a_test(report(1e6, 8e6, 6e6)),),
            "round_trips": trips, "probed_by": "ping",
            "translation": tell_translation("100.72.3.4", "8.8.8.8"), "path_mtu": None,
            "believed_mtu_bytes": 1500, "nat_timer": None, "n_not_run": 0, "fault": "", **given,
        }
    )  # fmt: skip


def test_a_record_holds_numbers_in_base_units():
    record = measure_record(session(), "out")
    assert record["schema"] == "linkfit/measure/1"
    (test,) = record["tests"]
    assert test["direction"] == "up"
    assert test["n_samples"] == 2
    assert test["p50_bps"] == pytest.approx(7e6)
    assert test["p05_bps"] <= test["p50_bps"] <= test["p95_bps"]
    idle, busy = record["round_trips"]["idle"], record["round_trips"]["busy"]
    assert (idle["n_probes"], idle["n_lost"]) == (3, 1)
    assert idle["p50_s"] == pytest.approx(0.055)
    assert (busy["n_probes"], busy["p50_s"]) == (0, None)
    json.dumps(record, allow_nan=False)


def test_what_is_in_the_way():
    record = measure_record(
        session(
            path_mtu=PathMtu(mtu_bytes=1420, silent=True),
            nat_timer=NatTimer(kept_s=60.0, gone_s=120.0, text="kept"),
        ),
        "out",
    )
    assert record["path_mtu"] == {"bytes": 1420, "by": "ping", "silent": True}
    assert record["nat_timer"] == {"kept_s": 60.0, "gone_s": 120.0, "text": "kept"}
    assert record["translation"]["kind"] == "carrier"


def test_a_test_without_figures_has_none():
    record = measure_record(session(tests=(a_test("", error="refused"),), fault="away"), "out")
    assert record["tests"][0]["p50_bps"] is None
    assert record["fault"] == "away"
    assert record["path_mtu"] == {"bytes": 1500, "by": "tcp", "silent": None}
