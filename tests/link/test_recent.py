from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.ingest.trace import Trace
from linkfit.link.recent import (
    LEADS_S,
    WINDOWS_S,
    RecentRates,
    Record,
    learn_persistence,
    recent_rates,
)


def one_second(rates, **options):
    return Trace.from_rates(np.asarray(rates, float), layer="ip", **options)


def recent(rates, resolution_s=1):
    rates_bps = np.asarray(rates, float)
    return RecentRates(rates_bps=rates_bps, resolution_s=resolution_s, end_s=np.nan)


def test_at_most_the_last_minute_is_read_and_its_end_is_known():
    start = datetime(2026, 6, 1, 20, 0, tzinfo=UTC)
    found = recent_rates(one_second(np.arange(1, 101), start=start), "up", None)
    assert found.rates_bps.tolist() == list(range(41, 101))
    assert found.end_s == start.timestamp() + 100
    assert found.resolution_s == 1
    assert np.isnan(recent_rates(one_second([1.0, 2.0]), "up", None).end_s)


def test_minutes_before_a_long_gap_are_not_recent():
    day = {"year": 2026, "month": 6, "day": 1, "tzinfo": UTC}
    old = one_second(np.full(30, 9e6), start=datetime(**day, hour=8))
    new = one_second(np.full(20, 1e6), start=datetime(**day, hour=9))
    assert recent_rates(Trace.merge([old, new]), "up", None).rates_bps.tolist() == [1e6] * 20


def test_a_sample_of_ten_seconds_tells_no_single_second():
    found = recent_rates(one_second([2e6, 4e6], step_s=10.0), "up", None)
    assert found.resolution_s == 10
    assert found.windows_s == (10, 10, 15, 20)


def test_real_transfers_stand_in():
    trace = Trace.from_transfers([5e6, 5e6], [10.0, 10.0], direction="up", rtts_s=[0.05, 0.05])
    found = recent_rates(trace, "up", None)
    assert found.rates_bps == pytest.approx(5e6 * 8 * 1500 / 1448 / 10, rel=0.05)
    assert found.resolution_s == 10


@pytest.mark.parametrize(
    ("trace", "got"),
    [
        (Trace(), "got no throughput at all"),
        (one_second([1e6, 2e6, 3e6], direction="down"), "got 3 down samples"),
        (one_second([1e6, 2e6], saturating=False), "got 2 up samples"),
        (Trace.from_transfers([1e6], [3.0], direction="down"), "got 1 down transfers"),
    ],
)
def test_nothing_of_the_direction_is_an_error_that_says_what_is_there(trace, got):
    with pytest.raises(InputError, match=f"recent: expected samples of the direction up .*{got}"):
        recent_rates(trace, "up", None)


@given(
    st.lists(st.floats(0, 1e8), min_size=2, max_size=80),
    st.lists(st.integers(1, 79), max_size=4),
    st.integers(0, 79),
)
def test_states_agree_with_means_taken_one_by_one(rates, cuts, second):
    rates = np.array(rates)
    first = np.array([0, *sorted({cut for cut in cuts if cut < rates.size}), rates.size])
    second = min(second, rates.size - 1)
    record = Record.from_rates(rates, first)
    begin = max(f for f in first if f <= second)
    means = [rates[max(second + 1 - window, begin) : second + 1].mean() for window in WINDOWS_S]
    expected = np.log(np.array(means) + record.floor_bps)
    assert record.states(np.array([second]), WINDOWS_S)[0] == pytest.approx(expected, abs=1e-6)
    of_recent = record.state_of(recent(rates[begin : second + 1][-60:]))
    assert of_recent == pytest.approx(expected, abs=1e-6)


def test_ahead_stops_at_the_end_of_the_session():
    record = Record.from_rates(np.array([1.0, 2.0, 4.0, 8.0, 16.0]) * 1e6, np.array([0, 3, 5]))
    ahead = np.exp(record.ahead(np.array([0, 1, 2, 3]), 0, 2)) - record.floor_bps
    assert ahead[[0, 1, 3]] == pytest.approx([3e6, 4e6, 16e6])
    assert np.isnan(ahead[2])
    assert np.isnan(record.ahead(np.array([0]), 4, 8)).all()


def learned(rates, told_s=np.inf):
    record = Record.from_rates(rates, np.array([0, rates.size]))
    return learn_persistence(record, WINDOWS_S, told_s=told_s)


def autoregressive(n, lag1, seed=0):
    noise = np.random.default_rng(seed).standard_normal(n)
    x = np.empty(n)
    x[0] = noise[0]
    for i in range(1, n):
        x[i] = lag1 * x[i - 1] + np.sqrt(1 - lag1**2) * noise[i]
    return x


def test_an_autoregression_of_order_one_is_found_again():
    # of a first-order autoregression the last second alone tells the next, with its correlation
    rates = 5e6 * np.exp(0.3 * autoregressive(40_000, 0.8))
    found = learned(rates)
    assert found.share[0] == pytest.approx([0.8, 0.0, 0.0, 0.0], abs=0.04)
    # the mean of seconds 4 to 8 ahead: 0.8^5 ... 0.8^8, averaged
    assert found.share[3].sum() == pytest.approx(np.mean(0.8 ** np.arange(5, 9)), abs=0.08)
    # of the log of rate + 3 %: its derivative shrinks the spread by 1 / 1.03
    assert found.left_sigma[0] == pytest.approx(0.3 * 0.6 / 1.03, rel=0.05)


def test_independent_seconds_lose_all_persistence_and_short_records_keep_the_pooled_one():
    rates = np.random.default_rng(0).gamma(9.0, 1e6, 40_000)
    long = learned(rates)
    assert np.abs(long.share).max() < 0.1
    short = learned(rates[:30])
    assert short.share[0].sum() == pytest.approx(0.83, abs=0.12)
    untold = learned(rates, told_s=0.0)
    assert untold.share[0] == pytest.approx([0.62, 0.15, 0.06, 0.0])


@settings(max_examples=25)
@given(st.lists(st.floats(0, 1e9), min_size=1, max_size=40), st.floats(1e-3, 1e3))
def test_nothing_depends_on_the_unit_of_rate(rates, scale):
    # above 1 bit/s of floor, so that the floor scales too
    rates = np.array([*rates, 1e6])
    shares = [learned(r).share for r in (rates, rates * scale)]
    assert np.isfinite(shares[0]).all()
    if min(rates.mean(), (rates * scale).mean()) * 0.03 > 1:
        assert shares[0] == pytest.approx(shares[1], abs=1e-5)
    assert shares[0].shape == (len(LEADS_S) - 1, len(WINDOWS_S))
