import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.link.replay import Blocks, RunBank, block_lengths, replay


def walked(rates, first, start, length, factor, n_seconds):
    """Second by second, as one would do it by hand."""
    out = []
    for s, n, f in zip(start, length, factor, strict=True):
        run = int(np.searchsorted(first, s, side="right")) - 1
        low, high = first[run], first[run + 1]
        out += [f * rates[low + (s - low + i) % (high - low)] for i in range(n)]
    return np.array(out[:n_seconds])


runs = st.lists(st.lists(st.integers(0, 1000), min_size=1, max_size=7), min_size=1, max_size=5)


@settings(max_examples=60, deadline=None)
@given(runs, st.integers(1, 40), st.integers(1, 9), st.integers(0, 2**31))
def test_agrees_with_a_walk_second_by_second(runs, horizon, mean_block, seed):
    rng = np.random.default_rng(seed)
    rates = np.concatenate(runs).astype(float)
    first = np.concatenate(([0], np.cumsum([len(run) for run in runs])))
    length = block_lengths(3, horizon, mean_block, rng)
    start = rng.integers(rates.size, size=length.shape)
    factor = rng.uniform(0.5, 2.0, size=length.shape)
    blocks = Blocks(start=start, length=length, factor=factor)
    bits = replay(RunBank.from_rates(rates, first), blocks, horizon_s=horizon, step_s=1.0)
    for row in range(3):
        expected = walked(rates, first, start[row], length[row], factor[row], horizon)
        assert_allclose(np.diff(bits[row]), expected, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(runs, st.integers(1, 8), st.sampled_from([2.0, 5.0, 0.5, 0.25]), st.integers(0, 2**31))
def test_any_step_reads_the_same_process(runs, mean_block, step_s, seed):
    rng = np.random.default_rng(seed)
    rates = np.concatenate(runs).astype(float)
    first = np.concatenate(([0], np.cumsum([len(run) for run in runs])))
    length = block_lengths(2, 40, mean_block, rng)
    start = rng.integers(rates.size, size=length.shape)
    blocks = Blocks(start=start, length=length, factor=np.ones(length.shape))
    bank = RunBank.from_rates(rates, first)
    fine = replay(bank, blocks, horizon_s=40, step_s=1.0)
    other = replay(bank, blocks, horizon_s=40, step_s=step_s)
    times = np.arange(other.shape[1]) * step_s
    for row in range(2):
        assert_allclose(other[row], np.interp(times, np.arange(41.0), fine[row]), atol=1e-6)


def test_block_lengths_cover_the_horizon_and_have_the_asked_mean(rng):
    length = block_lengths(500, 1000.0, 20.0, rng)
    assert (length.sum(axis=1) >= 1000).all()
    # standard error of the mean of n geometric lengths is about 20 / sqrt(n)
    assert length.mean() == pytest.approx(20.0, abs=5 * 20.0 / np.sqrt(length.size))


@given(st.lists(st.integers(1, 9), min_size=1, max_size=6), st.booleans())
def test_a_second_is_found_in_its_run_by_the_table_and_by_the_search(sizes, by_table):
    first = np.r_[0, np.cumsum(sizes)]
    bank = RunBank.from_rates(np.ones(first[-1]), first)
    seconds = np.tile(np.arange(first[-1]), 2)[: None if by_table else 1]
    for second, run in zip(seconds, bank.run_of(seconds), strict=True):
        assert first[run] <= second < first[run + 1]
