from datetime import UTC, datetime, timedelta

import numpy as np

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.enough_tests import more_cells
from linkfit.link.measured_cells import measured_cells
from linkfit.probe.further_tests import plan_further_tests
from linkfit.units import format_size


def test_one_speed_test_asks_for_more_and_says_the_price():
    link = lf.fit_link(Trace.from_quick_numbers(up_bps=8e6 * 1448 / 1500))
    (rests, no_clock, download, pings) = link.missing
    n_cells = more_cells(np.empty(0)).n_p50  # a test without a time of day fills no cell
    assert rests.startswith(
        f"upload rests on 10 s in 1 run: {2 * n_cells} more tests of 4 s, two in each of {n_cells} "
        "more quarters of a day, would tell its median within 20 %"
    )
    assert f"{format_size(2 * n_cells * 4e6, 2)} (4.0 MB each)" in rests  # 8 Mbit/s for 4 s
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


def test_the_number_of_tests_is_that_of_the_plan_for_further_tests():
    """One place counts them: what the fit names is what the plan asks for, zone for zone."""
    rng = np.random.default_rng(8)
    starts = [datetime(2026, 6, 1, tzinfo=UTC) + timedelta(hours=5 * n) for n in range(12)]
    runs = [Trace.from_rates(np.full(10, rng.lognormal(15.5, 0.5)), start=at) for at in starts]
    trace = Trace.merge([*runs, Trace.from_quick_numbers(rtt_s=0.3)])
    for zone in ("UTC", "Asia/Tokyo"):
        cells = measured_cells(trace, "up", timezone=zone)
        plan = plan_further_tests((cells,), 0.2, rtt_s=0.3)
        wanted = f": {2 * plan.directions[0].more_p50} more tests of {plan.seconds} s, two in each"
        missing = lf.fit_link(trace, timezone=zone).missing
        assert [text for text in missing if wanted in text]
        assert plan.seconds == 8


def test_one_more_quarter_of_a_day_is_singular():
    rng = np.random.default_rng(3)
    start = datetime(2026, 6, 1, tzinfo=UTC)
    rates = rng.lognormal(15.5, 0.3, 60)
    for n in range(6, 60):
        if more_cells(rates[:n]).n_p50 == 1:
            break
    runs = [
        Trace.from_rates(np.full(10, rate), start=start + timedelta(hours=6 * i))
        for i, rate in enumerate(rates[:n])
    ]
    missing = lf.fit_link(Trace.merge(runs)).missing
    assert any(
        ": 2 more tests of 4 s, two in each of 1 more quarter of a day" in m for m in missing
    )
