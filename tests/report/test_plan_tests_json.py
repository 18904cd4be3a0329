import json

import pytest

from linkfit.probe.further_tests import Asked, plan_further_tests
from linkfit.report.plan_tests_json import plan_tests_record
from tests.probe.test_further_tests import measured


def asked(rates=(), *, width=0.2, of="median", budget=None, cap=None, **given):
    plan = plan_further_tests((measured(rates, **given),), width, of=of,
                              guessed_bps={"up": 10e6}, budget_bytes=budget)  # fmt: skip
    return Asked(plan=plan, width_frac=width, of=of, timezone="UTC", budget_bytes=budget,
                 cap_bytes=cap)  # fmt: skip


def test_a_record_of_nothing_measured():
    record = plan_tests_record(asked(budget=1e3, cap=60e9))
    assert record["schema"] == "linkfit/plan-tests/1"
    assert record["directions"][0]["now"] is None
    assert record["budget"] == {"budget_bytes": 1e3, "cells": 0, "width_frac": {"up": None}}
    assert record["cap"]["share_frac"] == pytest.approx(record["cost"]["p50_bytes"] / 60e9)
    assert record["cost"]["p05_bytes"] < record["cost"]["p50_bytes"] < record["cost"]["p95_bytes"]
    json.dumps(record, allow_nan=False)


def test_a_record_of_what_is_known():
    record = plan_tests_record(asked([5e6, 6e6, 7e6] * 3))
    now = record["directions"][0]["now"]
    assert now["n_cells"] == 9
    assert now["low_bps"] < now["estimate_bps"] < now["high_bps"]
    assert now["rank_low_bps"] == 5e6
    assert record["cap"] is None
    assert record["budget"] is None


def test_more_than_2_percent_of_a_plan_is_spread_over_days():
    record = plan_tests_record(asked(cap=5e9))
    days = record["cap"]["days_at_2_percent"]
    assert record["cost"]["p50_bytes"] / (days / 30) <= 0.02 * 5e9
