"""Block bootstrap of records against arch, false alarms on halves, power on scaled copies."""

import numpy as np
import pytest

from linkfit.forecast.differences import judged
from linkfit.forecast.rate_differences import (
    LEVELS,
    STATISTICS,
    rate_differences,
    rate_percentiles,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def persistent_rates(n, seed, correlation=0.95, sigma=0.5):
    """A stationary lognormal rate whose logarithm is autoregressive of order 1."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(n) * np.sqrt(1 - correlation**2)
    noise[0] = rng.standard_normal()
    return 5e6 * np.exp(sigma * lfilter([1], [1, -correlation], noise))


def model_of(rates_bps):
    trace = Trace.from_rates(rates_bps, direction="up", layer="ip")
    return fit_link(trace, families=False).up


def compared(first_bps, second_bps, seed=0, n_resamples=400):
    rng = np.random.default_rng(seed)
    records = [
        rate_percentiles(model_of(r), rng, n_resamples=n_resamples) for r in (first_bps, second_bps)
    ]
    found = rate_differences(*records, rng)
    levels = [one for one in found if one.what in ("median", "mean")]
    return found, any(one.real for one in judged(levels))


def test_the_statistics_are_those_of_the_record(rng):
    rates = rng.lognormal(15, 0.4, 400)
    found = rate_percentiles(model_of(rates), rng)
    # the fit keeps rates as 32-bit numbers
    assert found.rates_bps[:3] == pytest.approx(np.quantile(rates, LEVELS), rel=1e-6)
    assert found.rates_bps[3] == pytest.approx(rates.mean(), rel=1e-6)
    assert found.resampled_bps.shape == (1000, len(STATISTICS))
    low, high = found.interval_bps()
    assert (low <= found.rates_bps).all()
    assert (high >= found.rates_bps).all()


def test_chance_is_that_of_the_stationary_bootstrap_of_arch():
    """arch 8: StationaryBootstrap with the same mean block; the drift taken out of ours."""
    bootstrap = pytest.importorskip("arch.bootstrap")
    rates = persistent_rates(1500, 3, correlation=0.8)
    rng = np.random.default_rng(1)
    ours = rate_percentiles(model_of(rates), rng, n_resamples=1000)
    theirs = bootstrap.StationaryBootstrap(ours.block_s, rates, seed=2)
    means = theirs.apply(np.mean, 1000).ravel()
    chance = np.std(np.log(ours.resampled_bps[:, 3]))
    without_drift = np.sqrt(chance**2 - ours.level_sigma**2)
    assert without_drift == pytest.approx(np.std(np.log(means)), rel=0.25)


def test_the_block_is_longer_where_seconds_resemble_each_other(rng):
    short = rate_percentiles(model_of(persistent_rates(600, 1, 0.3)), rng, n_resamples=300)
    long = rate_percentiles(model_of(persistent_rates(600, 1, 0.95)), rng, n_resamples=300)
    assert long.block_s > 2 * short.block_s


def test_one_remembered_number_cannot_be_told_from_twice_itself():
    once = Trace.from_quick_numbers(up_bps=5e6)
    twice = Trace.from_quick_numbers(up_bps=1e7)
    rng = np.random.default_rng(0)
    found = rate_differences(
        *(rate_percentiles(fit_link(t).up, rng, n_resamples=300) for t in (once, twice)), rng
    )
    assert not any(one.real for one in judged(found))
    assert found[1].low < 0 < found[1].high


def test_other_hours_widen_a_difference(rng):
    records = [
        rate_percentiles(model_of(persistent_rates(600, s)), rng, n_resamples=300) for s in (1, 2)
    ]
    plain = rate_differences(*records, np.random.default_rng(3))[1]
    wide = rate_differences(*records, np.random.default_rng(3), hours_sigma=0.5)[1]
    assert wide.high - wide.low > 1.3 * (plain.high - plain.low)


@pytest.mark.slow
@pytest.mark.parametrize(("correlation", "n"), [(0.7, 600), (0.95, 1200), (0.95, 2400)])
def test_halves_of_a_stationary_stretch_are_rarely_called_different(correlation, n):
    """5 % is meant; of 20 stretches more than 4 have a chance of 0.3 % at that rate (binomial)."""
    alarms = 0
    for seed in range(20):
        rates = persistent_rates(n, seed, correlation)
        alarms += compared(rates[: n // 2], rates[n // 2 :], seed, 300)[1]
    assert alarms <= 4


@pytest.mark.slow
def test_scaled_copies_are_told_apart():
    """Another stretch of the same process, twice as fast: found in at least 12 of 15."""
    found = 0
    for seed in range(15):
        first, second = (persistent_rates(1200, 100 * seed + i) for i in range(2))
        found += compared(first, 2 * second, seed, 300)[1]
    assert found >= 12
