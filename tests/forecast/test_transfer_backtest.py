"""Real transfers predicted from those before them: sizes apart from rates, order, classes."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

import linkfit as lf
from linkfit.errors import FitError
from linkfit.forecast.backtest_scores import BASELINES
from linkfit.forecast.transfer_backtest import (
    CLASS_EDGES_BYTES,
    interpolated_s,
    transfer_backtest,
)
from linkfit.ingest.trace import Trace

BOTH = ("up", "down")


def uploads(n=200, seed=3, rate_bps=8e6, fixed_s=0.4, low=2e5, high=8e6):
    """Sizes drawn evenly in logarithms; each costs a fixed time and its bytes at some rate."""
    rng = np.random.default_rng(seed)
    sizes = np.exp(rng.uniform(np.log(low), np.log(high), n))
    rates = rate_bps * np.exp(0.4 * rng.standard_normal(n))
    return sizes, fixed_s + sizes * 8 / rates


def test_backtest_takes_real_transfers_where_nothing_else_is_measured():
    score = lf.backtest(Trace.from_transfers(*uploads()))
    assert score.real_transfers
    assert score.n_transfers.sum() == 80  # the last 40 %, each once
    assert (np.diff(score.sizes_bytes) > 0).all()
    low, high = score.classes_bytes.T
    assert (low <= score.sizes_bytes).all()
    assert (score.sizes_bytes <= high).all()
    assert (low[1:] > high[:-1]).all()


@pytest.mark.slow
def test_the_rest_of_the_same_process_is_covered_and_beats_size_over_mean_rate():
    score = transfer_backtest(Trace.from_transfers(*uploads(600)))
    covered = np.average(score.coverage_90_frac, weights=score.n_transfers)
    assert covered > 0.86
    assert (score.crps_ratio < 1.0).all()
    assert score.crps_ratio[0] < 0.6  # small ones: the fixed cost that a mean rate cannot know


def test_classes_are_half_decades():
    edges = np.array(CLASS_EDGES_BYTES)
    assert {3e5, 1e6, 3e6} <= set(CLASS_EDGES_BYTES)
    assert ((edges[1:] / edges[:-1] > 2.9) & (edges[1:] / edges[:-1] < 3.4)).all()


def test_the_naive_score_is_what_bytes_over_time_says():
    sizes, durations = uploads(50)
    score = transfer_backtest(Trace.from_transfers(sizes, durations), n_draws=100)
    mean_bps = sizes[:30].sum() * 8 / durations[:30].sum()
    expected = np.abs(sizes[30:] * 8 / mean_bps - durations[30:])
    found = np.concatenate([d.baseline_crps_s[BASELINES[0]] for d in score.details])
    assert_allclose(np.sort(found), np.sort(expected))


def test_a_later_transfer_never_enters_its_own_forecast():
    # the past is slow, the future fast: nothing of the future may leak into the intervals
    sizes = np.full(100, 1e6)
    durations = np.where(np.arange(100) < 60, 8.0, 0.8) + 0.01 * (np.arange(100) % 7)
    start = [datetime(2026, 6, 15, 8, tzinfo=UTC) + timedelta(seconds=20 * i) for i in range(100)]
    shuffled = np.random.default_rng(1).permutation(100)
    trace = Trace.from_transfers(
        sizes, durations[shuffled], starts=[start[i] for i in shuffled.tolist()]
    )
    score = transfer_backtest(trace)
    assert score.coverage_90_frac[0] == 0.0
    assert np.max(score.details[0].pit) < 0.05


def test_sizes_between_the_grid_are_interpolated_in_logarithms():
    grid, draws = np.array([1e5, 1e7]), np.array([[0.1, 0.2], [10.0, 20.0]])
    assert_allclose(interpolated_s(grid, draws, np.array([1e5, 1e6])), [[0.1, 0.2], [1.0, 2.0]])


def test_each_direction_and_origin_counts():
    both = Trace.merge(
        [Trace.from_transfers(*uploads(60, seed), direction=d) for seed, d in enumerate(BOTH)]
    )
    score = lf.backtest(both, n_origins=2, n_draws=200)
    assert {d.direction for d in score.details} == {"up", "down"}
    assert score.n_transfers.sum() == 48
    up = lf.backtest(both, direction="up", n_draws=200)
    assert {d.direction for d in up.details} == {"up"}


def test_speed_tests_go_before_transfers():
    rates = 5e6 * np.exp(0.2 * np.random.default_rng(2).standard_normal(200))
    trace = Trace.merge([Trace.from_rates(rates), Trace.from_transfers(*uploads(40))])
    assert not lf.backtest(trace, sizes_bytes=[5e5], n_transfers=20).real_transfers


def test_the_same_seed_gives_the_same_score():
    trace = Trace.from_transfers(*uploads(60))
    one, two = (transfer_backtest(trace, seed=4, n_draws=200) for _ in range(2))
    assert (one.crps_s == two.crps_s).all()


def test_too_few_transfers_are_said():
    with pytest.raises(FitError, match=r"trace: expected 5 transfers before and after the cut"):
        lf.backtest(Trace.from_transfers(*uploads(9)))
