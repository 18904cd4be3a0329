"""backtest: scores that can be worked out, on futures that agree with the past and that do not."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import FitError, InputError
from linkfit.forecast.backtest import backtest
from linkfit.forecast.backtest_scores import BASELINES
from linkfit.ingest.trace import Trace


def wild(n=900, seed=1, mean_bps=5e6, memory_s=10):
    """Rates with a memory, and now and then an outage."""
    rng = np.random.default_rng(seed)
    level = np.convolve(rng.standard_normal(n + memory_s), np.ones(memory_s), "valid")[:n]
    rates = mean_bps * np.exp(0.6 * level / np.sqrt(memory_s))
    rates[rng.random(n) < 0.01] = 0.0
    return rates


def test_a_constant_link_is_foretold_by_its_mean():
    score = backtest(Trace.from_rates(np.full(300, 8e6)), sizes_bytes=[1e6], n_transfers=50)
    detail = score.details[0]
    # from_rates counts payload: 1 MB at 8 Mbit/s take 1 s, however many headers
    assert_allclose(detail.observed_s, 1.0, rtol=1e-9)
    assert detail.baseline_crps_s["size over mean rate"].max() < 1e-9


def test_the_future_of_the_same_process_is_covered():
    score = backtest(Trace.from_rates(wild(3000)), sizes_bytes=[5e5, 5e6], n_transfers=200)
    assert score.coverage_90_frac.shape == (2,)
    assert (score.coverage_90_frac > 0.8).all()
    assert (score.coverage_50_frac < score.coverage_80_frac).all()
    assert (score.coverage_80_frac < score.coverage_90_frac).all()
    assert (score.crps_ratio < 1.0).all()
    assert (score.crps_ratio_replay < 1.15).all()


def test_a_future_that_differs_is_not_covered_and_the_score_says_so():
    rates = np.concatenate([wild(600), wild(400, seed=2, mean_bps=0.2e6)])
    score = backtest(Trace.from_rates(rates), sizes_bytes=[5e5], n_transfers=100)
    assert score.coverage_90_frac[0] < 0.3
    assert np.mean(score.details[0].pit) > 0.9


def test_transfers_start_after_the_past_only():
    # the past is slow, the future fast: every transfer takes what the future lets it
    rates = np.concatenate([np.full(600, 1e6), np.full(400, 10e6)])
    score = backtest(Trace.from_rates(rates), sizes_bytes=[1e6], n_transfers=40)
    assert_allclose(score.details[0].observed_s, 0.8, rtol=1e-9)


def test_a_rolling_origin_learns_from_what_has_come():
    rates = np.concatenate([np.full(600, 1e6), np.full(400, 10e6)])
    rates = rates * np.exp(0.05 * np.random.default_rng(1).standard_normal(1000))
    score = backtest(Trace.from_rates(rates), sizes_bytes=[1e6], n_transfers=40, n_origins=4)
    errors = [d.baseline_crps_s["size over mean rate"].mean() for d in score.details]
    assert len(errors) == 4
    assert (np.diff(errors) < 0).all()
    assert score.n_transfers[0] == 160


def test_both_directions_are_scored_unless_one_is_asked_for():
    trace = Trace.merge([Trace.from_rates(wild(300), direction=d) for d in ("up", "down")])
    both = backtest(trace, sizes_bytes=[1e6], n_transfers=20)
    assert {d.direction for d in both.details} == {"up", "down"}
    down = backtest(trace, sizes_bytes=[1e6], n_transfers=20, direction="down")
    assert {d.direction for d in down.details} == {"down"}


def test_the_same_seed_gives_the_same_score():
    trace = Trace.from_rates(wild(300))
    one, two, other = (
        backtest(trace, sizes_bytes=[1e6], n_transfers=30, seed=seed) for seed in (3, 3, 4)
    )
    assert_array_equal(one.crps_s, two.crps_s)
    assert one.crps_s != other.crps_s
    assert set(one.details[0].baseline_crps_s) == set(BASELINES)


def test_scale_changes_nothing_but_the_unit():
    # ten times the rate and ten times the bytes: the same times, and so the same scores
    small, large = (
        backtest(Trace.from_rates(wild(400) * k), sizes_bytes=[5e5 * k], n_transfers=50)
        for k in (1, 10)
    )
    assert_allclose(small.crps_s, large.crps_s, rtol=0.05)
    assert_allclose(small.details[0].observed_s, large.details[0].observed_s, rtol=1e-9)


def test_too_little_to_cut_is_said():
    with pytest.raises(FitError, match=r"trace: expected 20 measured seconds before and after"):
        backtest(Trace.from_rates(wild(30)))
    with pytest.raises(FitError, match=r"5e\+08 bytes: expected transfers that end"):
        backtest(Trace.from_rates(wild(100)), sizes_bytes=[5e8])
    with pytest.raises(InputError, match=r"train_frac: expected a number between 0 and 1, got 1"):
        backtest(Trace.from_rates(wild(100)), train_frac=1.0)
    with pytest.raises(InputError, match=r"sizes_bytes: expected a finite number > 0, got -1"):
        backtest(Trace.from_rates(wild(100)), sizes_bytes=[-1])
