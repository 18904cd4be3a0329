"""What a link carries: averages against the record, outages against a known process, hours."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.capacity import WINDOWS_S, forecast_capacity, slowest_known_hour
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


@pytest.fixture(scope="module")
def trace():
    """Two hours up: 8 Mbit/s with an outage of 10 s every 200 s."""
    rng = np.random.default_rng(3)
    rates = 8e6 * np.exp(0.3 * rng.standard_normal(7200))
    rates[np.arange(7200) % 200 < 10] = 0.0
    return Trace.from_rates(rates, direction="up", layer="ip")


@pytest.fixture(scope="module")
def link(trace):
    return fit_link(trace)


@pytest.fixture(scope="module")
def found(link):
    return forecast_capacity(link, below_bps=6e6)


def quantile(found, window_s, level):
    (average,) = (a for a in found.up.moments[0].averages if a.window_s == window_s)
    return float(average.rate.quantile(level))


def test_averages_over_longer_times_spread_less(found):
    spreads = [quantile(found, w, 0.95) - quantile(found, w, 0.05) for w in WINDOWS_S]
    assert all(np.diff(spreads) < 0)


@pytest.mark.parametrize("window_s", [1, 10, 60])
def test_averages_are_those_of_the_record(found, link, window_s):
    rates = link.up.runs.rates_bps
    means = np.convolve(rates, np.ones(window_s) / window_s, mode="valid")
    for level in (0.1, 0.5, 0.95):
        assert quantile(found, window_s, level) == pytest.approx(
            np.quantile(means, level), rel=0.1, abs=3e5
        )


def test_outages_are_those_of_the_process(found):
    outages = found.up.moments[0].outages
    # by hand: 10 s in 200 s, 432 a day
    assert outages.share.low < 0.05 < outages.share.high
    assert outages.per_day.value == pytest.approx(432, rel=0.1)
    assert outages.mean_s.value == pytest.approx(10, rel=0.05)
    assert outages.most_per_day is None


def test_the_share_below_a_limit(found, link):
    (average,) = (a for a in found.up.moments[0].averages if a.window_s == 1)
    truth = float((link.up.runs.rates_bps < 6e6).mean())
    assert average.below.value == pytest.approx(truth, abs=0.03)
    assert average.below.low < average.below.value < average.below.high


def test_none_seen_leaves_three_over_the_time():
    link = fit_link(Trace.from_rates(np.full(600, 5e6) + np.arange(600), direction="up"))
    outages = forecast_capacity(link, n_draws=200).up.moments[0].outages
    assert outages.mean_s is None
    # rule of three: 3 in 600 s
    assert outages.most_per_day == pytest.approx(3 / 600 * 86_400)


def test_few_tests_leave_wider_intervals(trace):
    def width(trace):
        rate = forecast_capacity(fit_link(trace)).up.moments[0].averages[2].rate
        low, high = rate.quantile_interval(0.5)
        return high / low

    short = Trace.from_quick_numbers(up_bps=8e6)
    assert width(short) > 1.5 * width(trace)


def test_from_now_on_follows_the_last_minutes(link):
    slow = Trace.from_rates(np.full(60, 3e6), direction="up", layer="ip")
    found = forecast_capacity(link, recent=slow)
    usual, now = found.up.moments
    assert (usual.when, now.when) == ("any time", "now")
    assert now.averages[1].rate.quantile(0.5) < usual.averages[1].rate.quantile(0.5)


def test_the_last_minutes_of_another_direction_are_refused(link):
    other = Trace.from_rates(np.full(60, 3e6), direction="down")
    with pytest.raises(InputError, match=r"recent: expected samples of up, .* got none"):
        forecast_capacity(link, recent=other)


def test_a_floor_has_no_moments():
    trace = Trace.from_rates(np.full(600, 4e6), saturating=False, layer="ip", direction="up")
    up = forecast_capacity(fit_link(trace), below_bps=1e6).up
    assert up.moments == ()
    assert up.at_least_bps == pytest.approx(4e6)


@pytest.fixture(scope="module")
def fortnight():
    rng = np.random.default_rng(8)
    traces = []
    for day in range(14):
        for hour in range(6, 23, 2):
            start = datetime(2026, 6, 1, tzinfo=UTC) + timedelta(days=day, hours=hour)
            rate = 8e6 * (1 - 0.6 * np.exp(-(((hour - 20) / 3) ** 2)))
            rates = rate * np.exp(0.15 * rng.standard_normal(20))
            traces.append(Trace.from_rates(rates, direction="up", start=start))
    return fit_link(Trace.merge(traces))


def test_the_slowest_hour_is_slower(fortnight):
    found = forecast_capacity(fortnight, n_draws=400)
    usual, slowest = found.up.moments
    assert slowest.when == "slowest hour"
    assert slowest.hour == 20
    assert slowest.averages[2].rate.quantile(0.5) < 0.7 * usual.averages[2].rate.quantile(0.5)
    assert found.up.no_slowest_hour is None


def test_an_hour_outside_the_record_is_told_and_wider(fortnight):
    def at(hour):
        return forecast_capacity(fortnight, hour=hour, n_draws=400).up.moments[1]

    inside, outside = at(14.0), at(2.0)
    assert inside.hour_was_measured is True
    assert outside.hour_was_measured is False
    low, high = inside.averages[2].rate.quantile_interval(0.5)
    low_out, high_out = outside.averages[2].rate.quantile_interval(0.5)
    assert high_out / low_out > high / low


def test_why_no_hour_is_the_slowest(link):
    assert slowest_known_hour(link.up) == (None, "no time of day was measured")
    start = datetime(2026, 6, 1, 8, tzinfo=UTC)
    clocked = fit_link(Trace.from_rates(np.full(900, 1e6), direction="up", start=start))
    assert slowest_known_hour(clocked.up) == (None, "no daily pattern was found in 1 day")


def test_the_same_seed_gives_the_same_numbers(link):
    first, again = (forecast_capacity(link, n_draws=100, seed=4) for _ in range(2))
    assert np.array_equal(
        first.up.moments[0].averages[0].rate.draws, again.up.moments[0].averages[0].rate.draws
    )


def test_a_bad_limit_is_refused(link):
    with pytest.raises(InputError, match="below_bps: expected a finite number > 0, got 0"):
        forecast_capacity(link, below_bps=0.0)
