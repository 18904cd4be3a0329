"""Scores by kind of minute and part of the day, with groups that can be counted by hand."""

from datetime import UTC, datetime

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.forecast.backtest import backtest
from linkfit.forecast.backtest_groups import grouped, hours_of_day, is_wild
from linkfit.ingest.trace import Trace
from linkfit.link.series import MeasuredRuns


def test_a_minute_is_wild_if_it_varies_more_than_half_of_the_past():
    rng = np.random.default_rng(1)
    past = np.repeat([0.05, 0.1, 0.2, 0.4, 0.8], 60) * rng.standard_normal(300) + 10
    calm = 10 + 0.01 * rng.standard_normal(120)
    storm = 10 + 3 * rng.standard_normal(120)
    future = np.concatenate([calm, storm])
    assert_array_equal(is_wild(past, future, np.array([0.0, 59.5, 130.2])), [False, False, True])


def test_a_minute_without_capacity_is_wild():
    past = np.full(120, 5.0)
    assert is_wild(past, np.zeros(100), np.array([0.0]))[0]


def test_hours_follow_the_clock_of_each_run():
    runs = MeasuredRuns(
        rates_bps=np.ones(20), first=np.array([0, 10, 20]),
        start_s=np.array([datetime(2026, 6, 1, 7, tzinfo=UTC).timestamp(), np.nan]),
    )  # fmt: skip
    hours = hours_of_day(runs, np.array([0.0, 9.9, 10.0, 19.9]))
    assert_allclose(hours[:2], [7.0, 7 + 9 / 3600])
    assert np.isnan(hours[2:]).all()


def test_every_transfer_stands_in_one_kind_of_minute():
    rng = np.random.default_rng(2)
    calm = 5e6 * np.exp(0.05 * rng.standard_normal(900))
    storm = 5e6 * np.exp(0.8 * rng.standard_normal(900))
    rates = np.concatenate([calm[:450], storm[:450], calm[450:], storm[450:]])
    start = datetime(2026, 6, 1, 11, 30, tzinfo=UTC)
    score = backtest(Trace.from_rates(rates, start=start), sizes_bytes=[5e5, 2e6], n_transfers=100)
    groups = {group.name: group for group in grouped(score.details)}
    minutes = [groups["calm minutes"], groups["wild minutes"]]
    assert sum(group.n_transfers for group in minutes) == 200
    assert all(0 <= group.coverage_90_frac <= 1 for group in minutes)
    # 11:30 and 60 % of half an hour later: all of it before noon
    assert "6 to 12 h UTC" in groups
    assert "18 to 24 h UTC" not in groups


def test_without_a_clock_no_part_of_the_day_is_named():
    rates = 5e6 * np.exp(0.3 * np.random.default_rng(3).standard_normal(600))
    score = backtest(Trace.from_rates(rates), sizes_bytes=[1e6], n_transfers=60)
    assert {group.name for group in grouped(score.details)} <= {"calm minutes", "wild minutes"}


def test_real_transfers_have_no_groups():
    rng = np.random.default_rng(4)
    sizes = np.exp(rng.normal(13.5, 0.5, 120))
    trace = Trace.from_transfers(sizes, 0.2 + sizes * 8 / 5e6 * np.exp(rng.normal(0, 0.2, 120)))
    assert grouped(backtest(trace).details) == ()
