from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import linkfit as lf
from linkfit.errors import FitError, InputError
from linkfit.ingest.trace import Trace


def one_second(rates, **options):
    return Trace.from_rates(np.asarray(rates, float), layer="ip", **options)


def ahead(link, recent, *, seed=0, low_s=0, high_s=10, n_draws=1000, **options):
    """Mean rate of each future between two seconds, shape (d,)."""
    paths = link.paths(
        "up", horizon_s=high_s, n_draws=n_draws, rng=np.random.default_rng(seed), recent=recent,
        **options,
    )  # fmt: skip
    return (paths.cumulative_bits[:, high_s] - paths.cumulative_bits[:, low_s]) / (high_s - low_s)


OUTAGES = lf.fit_link(one_second([3e6, 0.0, 5e6, 9e6, 1e6] * 8))


@pytest.fixture(scope="module")
def steady():
    return lf.fit_link(one_second(np.full(600, 6e6)))


@pytest.fixture(scope="module")
def swinging():
    noise = np.random.default_rng(0).standard_normal(7200)
    x = np.zeros(7200)
    for i in range(1, 7200):
        x[i] = 0.95 * x[i - 1] + np.sqrt(1 - 0.95**2) * noise[i]
    return lf.fit_link(one_second(6e6 * np.exp(0.6 * x)))


@pytest.mark.parametrize("rate", [6e6, 5e6, 3e6])
def test_a_constant_link_goes_on_as_it_is_now(steady, rate):
    found = np.median(ahead(steady, one_second(np.full(60, rate))))
    assert found == pytest.approx(rate, rel=0.08)


def test_a_level_far_below_the_record_is_believed_and_so_is_its_end(steady):
    low_bps = ahead(steady, one_second(np.full(60, 1e6)), low_s=60, high_s=120)
    assert np.median(low_bps) < 2e6
    assert np.quantile(low_bps, 0.98) > 4e6  # a throttle may end


def test_a_minute_of_outage_is_no_level(steady):
    later_bps = ahead(steady, one_second(np.zeros(60)), low_s=60, high_s=120)
    assert np.median(later_bps) > 4e6
    assert np.quantile(later_bps, 0.05) < 1e6
    assert np.median(ahead(steady, one_second(np.zeros(60)), high_s=1)) < 2e6


def test_good_and_bad_minutes_order_the_futures_and_fade(swinging):
    def median(rate, **options):
        return np.median(ahead(swinging, one_second(np.full(60, rate)), **options))

    soon = [median(rate) for rate in (2e6, 6e6, 15e6)]
    assert soon == sorted(soon)
    assert soon[2] > 2 * soon[0]
    late = [median(rate, recent_age_s=7200.0) for rate in (2e6, 15e6)]
    assert late[1] < 1.4 * late[0]
    at_any_time = np.median(ahead(swinging, None))
    assert abs(np.log(late[0] / at_any_time)) < 0.3 * abs(np.log(soon[0] / at_any_time))


def test_the_first_second_of_an_autoregression_follows_its_law(swinging):
    # log rate: mean 0.95 x its deviation now, spread 0.6 sqrt(1 - 0.95^2); levels add a little
    now_log = np.log(6e6) + 0.6
    first = np.log(ahead(swinging, one_second(np.full(60, np.exp(now_log))), high_s=1))
    assert np.median(first) == pytest.approx(np.log(6e6) + 0.95 * 0.6, abs=0.06)
    spread = np.diff(np.quantile(first, [0.16, 0.84]))[0] / 2
    assert spread == pytest.approx(0.6 * np.sqrt(1 - 0.95**2), rel=0.25)


@pytest.mark.slow
def test_independent_seconds_gain_nothing_and_lose_nothing():
    rates = np.random.default_rng(0).gamma(4.0, 1.5e6, 7200)
    link = lf.fit_link(one_second(rates[:3600]))
    any_time = ahead(link, None, n_draws=2000, high_s=5)
    widths = []
    for second in range(4000, 7000, 300):
        now = ahead(link, one_second(rates[second - 60 : second]), high_s=5)
        widths.append(np.std(now) / np.std(any_time))
        assert np.mean(now) == pytest.approx(np.mean(any_time), rel=0.1)
    assert np.mean(widths) == pytest.approx(1.0, abs=0.1)


def test_one_remembered_speed_test_leaves_the_last_minutes_to_decide():
    link = lf.fit_link(Trace.from_quick_numbers(up_bps=6e6))
    rates = np.random.default_rng(1).gamma(9.0, 2e6 / 9, 60)
    for low_s, high_s in ((0, 10), (60, 120)):
        assert np.median(ahead(link, one_second(rates), low_s=low_s, high_s=high_s)) < 3.2e6
    assert np.median(ahead(link, one_second(rates), recent_age_s=30 * 86_400.0)) > 2.5e6


def test_the_hour_follows_from_the_last_minutes():
    hours = np.arange(6 * 24)
    start = datetime(2026, 6, 1, tzinfo=UTC)
    rng = np.random.default_rng(0)
    rates = np.repeat(6e6 * np.where(hours % 24 >= 12, 0.3, 1.0), 600)
    parts = [
        one_second(rates[i * 600 : i * 600 + 120] * rng.gamma(9, 1 / 9, 120),
                   start=datetime.fromtimestamp(start.timestamp() + 3600 * i, tz=UTC))
        for i in hours
    ]  # fmt: skip
    link = lf.fit_link(Trace.merge(parts))
    assert link.up.daily.found
    evening = one_second(rng.gamma(9, 1.8e6 / 9, 60), start=datetime(2026, 6, 8, 18, tzinfo=UTC))
    # an hour later it is still evening: no return to the mean of all hours
    assert np.median(ahead(link, evening, low_s=600, high_s=1200)) == pytest.approx(1.8e6, rel=0.25)


def test_the_same_seed_gives_the_same_futures_in_even_worlds(swinging):
    recent = one_second(np.full(30, 4e6))
    one, two, other = (ahead(swinging, recent, seed=seed) for seed in (3, 3, 4))
    assert (one == two).all()
    assert (one != other).any()
    paths = swinging.paths(
        "up", horizon_s=30, n_draws=50, rng=np.random.default_rng(0), n_worlds=7, recent=recent
    )
    assert np.bincount(paths.world).tolist() == [8] + [7] * 6


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.floats(0, 1e9), min_size=1, max_size=70),
    st.floats(0, 1e6),
    st.sampled_from([1.0, 7.0]),
)
def test_any_last_minutes_give_futures_that_never_fall(rates, age_s, step_s):
    paths = OUTAGES.paths(
        "up", horizon_s=200, n_draws=20, rng=np.random.default_rng(0), step_s=step_s,
        recent=one_second(rates), recent_age_s=age_s,
    )  # fmt: skip
    assert np.isfinite(paths.cumulative_bits).all()
    assert (np.diff(paths.cumulative_bits) >= 0).all()


def test_bad_arguments_are_named(steady):
    with pytest.raises(InputError, match=r"recent_age_s: expected a finite number >= 0, got -1"):
        ahead(steady, one_second([1e6]), recent_age_s=-1)
    with pytest.raises(InputError, match=r"recent: expected .* got 1 down samples"):
        ahead(steady, one_second([1e6], direction="down"))
    with pytest.raises(FitError, match=r"down: expected at least one measurement"):
        steady.paths("down", horizon_s=9, n_draws=1, rng=np.random.default_rng(0),
                     recent=one_second([1e6], direction="down"))  # fmt: skip


def test_short_gaps_pass_by_the_clock_as_they_do_at_any_time():
    # 15 s in each minute, good and bad minutes in turn: laid end to end, 30 s would always hold
    # a good and a bad run, and averages over 30 s would not vary at all
    start = datetime(2026, 6, 1, tzinfo=UTC).timestamp()
    parts = [
        one_second(np.full(15, 9e6 if i % 2 else 1e6),
                   start=datetime.fromtimestamp(start + 60 * i, tz=UTC))
        for i in range(60)
    ]  # fmt: skip
    link = lf.fit_link(Trace.merge(parts))
    window = {"low_s": 60, "high_s": 90, "n_draws": 600}
    now = ahead(link, parts[-1], recent_age_s=600.0, **window)
    any_time = ahead(link, None, **window)
    assert np.std(any_time) > 2e6
    assert np.std(now) == pytest.approx(np.std(any_time), rel=0.25)
