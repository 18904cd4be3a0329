from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.missing import n_tests_to_bound


def test_one_speed_test_asks_for_more_and_says_the_price():
    link = lf.fit_link(Trace.from_quick_numbers(up_bps=8e6 * 1448 / 1500))
    (rests, no_clock, download, pings) = link.missing
    assert rests.startswith("upload rests on 10 s in 1 run: 19 more tests of 10 s")
    assert "190 MB (10 MB each)" in rests  # 8 Mbit/s for 10 s is 10 MB, 1.25 MB per Mbit/s
    assert "time of day" in no_clock
    assert download.startswith("download was never measured")
    assert pings.startswith("round trips were never measured")


def test_unmeasured_hours_are_named_as_ranges(start_of_june):
    rates = np.full(7200, 5e6)
    trace = Trace.from_rates(rates, direction="down", start=start_of_june)
    missing = " | ".join(lf.fit_link(trace).missing)
    assert "download was never measured at 0-8 h, 10-24 h (UTC)" in missing
    assert "measured on 1 day:" in missing


def test_a_well_measured_link_asks_for_nothing_of_that_direction(start_of_june):
    rng = np.random.default_rng(3)
    rates = rng.lognormal(15, 0.3, 8 * 86_400 // 60)
    trace = Trace.from_rates(rates, step_s=60.0, direction="up", start=start_of_june)
    assert not [text for text in lf.fit_link(trace).missing if text.startswith("upload")]


def test_a_week_without_saturday_or_sunday_is_named():
    monday = datetime(2026, 6, 1, 8, tzinfo=UTC)
    days = [d for d in range(11) if d % 7 < 5]
    traces = [
        Trace.from_rates(np.full(60, 5e6), direction="up", start=monday + timedelta(days=d))
        for d in days
    ]
    missing = " | ".join(lf.fit_link(Trace.merge(traces)).missing)
    assert "upload was never measured on a Saturday or Sunday: one test costs" in missing
    both = Trace.from_rates(np.full(60, 5e6), direction="up", start=monday + timedelta(days=5))
    assert "Saturday" not in " ".join(lf.fit_link(Trace.merge([*traces, both])).missing)


@pytest.mark.parametrize(("tail", "n"), [(0.05, 59), (0.01, 299)])
def test_tests_that_bound_a_quantile_by_counting(tail, n):
    # values from memory (Wilks 1941): 59 for 95 % / 95th, 299 for 95 % / 99th
    assert n_tests_to_bound(tail) == n
    assert 1 - (1 - tail) ** n >= 0.95 > 1 - (1 - tail) ** (n - 1)


def test_the_slowest_of_so_many_is_below_the_quantile(rng):
    slowest = rng.random((4000, n_tests_to_bound(0.05))).min(axis=1)
    # binomial: 0.9515 within five standard errors of 0.0034
    assert np.mean(slowest < 0.05) == pytest.approx(1 - 0.95**59, abs=5 * 0.0034)


def test_one_more_test_is_singular():
    starts = [datetime(2026, 6, 1, 8, tzinfo=UTC) + timedelta(hours=h) for h in range(19)]
    tests = [Trace.from_rates(np.full(10, 8e6), start=start) for start in starts]
    missing = lf.fit_link(Trace.merge(tests)).missing
    assert any(": 1 more test of 10 s, spread over hours and days, costs" in m for m in missing)
