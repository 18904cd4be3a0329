import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

import linkfit as lf
from linkfit.errors import FitError
from linkfit.ingest.trace import Trace
from linkfit.link.series import IP_BITS_PER_TCP_BIT


def width(link, direction="up", horizon_s=10, seed=0):
    """Ratio of the 95 % to the 5 % quantile of mean rates over `horizon_s`."""
    paths = link.paths(
        direction,
        horizon_s=horizon_s,
        n_draws=2000,
        rng=np.random.default_rng(seed),
        step_s=horizon_s,
    )
    low, high = np.quantile(paths.cumulative_bits[:, -1], [0.05, 0.95])
    return high / low


def autoregressive_rates(rng, n, phi=0.9, sigma=0.5, mean=15.0):
    noise = rng.standard_normal(n) * sigma * np.sqrt(1 - phi**2)
    x = np.zeros(n)
    for i in range(1, n):
        x[i] = phi * x[i - 1] + noise[i]
    return np.exp(mean + x)


def test_one_speed_test_gives_a_wide_answer_around_it():
    link = lf.fit_link(Trace.from_quick_numbers(up_bps=6e6))
    paths = link.paths("up", horizon_s=60, n_draws=2000, rng=np.random.default_rng(0))
    median = np.median(paths.cumulative_bits[:, -1]) / 60
    assert median == pytest.approx(6e6 * IP_BITS_PER_TCP_BIT, rel=0.1)
    assert 3 < width(link) < 12


def test_few_samples_are_wider_than_many(rng):
    rates = autoregressive_rates(rng, 4000, sigma=0.2)
    widths = [width(lf.fit_link(Trace.from_rates(rates[:n]))) for n in (10, 100, 4000)]
    assert widths[0] > widths[1] > widths[2]


def test_worlds_differ_less_the_more_was_measured(rng):
    rates = autoregressive_rates(rng, 4000, phi=0.5)
    spreads = []
    for n in (30, 4000):
        paths = lf.fit_link(Trace.from_rates(rates[:n])).paths(
            "up", horizon_s=300, n_draws=1000, rng=np.random.default_rng(1), step_s=300
        )
        means = [paths.cumulative_bits[paths.world == w, -1].mean() for w in range(20)]
        spreads.append(np.std(np.log(means)))
    assert spreads[0] > 2 * spreads[1]


def test_a_constant_rate_stays_constant_up_to_its_level():
    link = lf.fit_link(Trace.from_rates([8e6] * 900))
    paths = link.paths("up", horizon_s=30, n_draws=50, rng=np.random.default_rng(0))
    assert_allclose(paths.rates_bps, paths.rates_bps[:, :1].repeat(30, axis=1), rtol=1e-9)
    assert link.up.marginal.families == ()


def test_an_outage_for_ever_is_not_an_error():
    link = lf.fit_link(Trace.from_rates([0.0] * 50))
    paths = link.paths("up", horizon_s=30, n_draws=5, rng=np.random.default_rng(0))
    assert (paths.cumulative_bits == 0).all()
    assert link.up.marginal.outages.share_frac == 1.0


def test_one_sample_is_enough():
    link = lf.fit_link(Trace.from_rates([5e6]))
    assert width(link) > 3


def test_the_share_of_outages_is_kept(rng):
    rates = np.where(np.arange(3000) % 100 < 8, 0.0, 5e6)
    link = lf.fit_link(Trace.from_rates(rates))
    paths = link.paths("up", horizon_s=600, n_draws=400, rng=np.random.default_rng(2))
    # blocks of 375 s: about 640 independent ones hold 4 outages each
    assert np.mean(paths.rates_bps == 0) == pytest.approx(0.08, abs=0.01)


@pytest.mark.parametrize("n", [600, 6000])
def test_averages_vary_as_much_as_measured(rng, n):
    link = lf.fit_link(Trace.from_rates(autoregressive_rates(rng, n)))
    dependence = link.up.dependence
    assert dependence.windows_s[:3] == (1, 10, 60)
    assert_allclose(dependence.model_spreads_bps[:3], dependence.spreads_bps[:3], rtol=0.2)
    assert dependence.lag1_correlation == pytest.approx(0.88, abs=0.06)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from([0.01, 3.0, 250.0]))
def test_scaling_all_rates_scales_all_paths(seed, c):
    rates = np.random.default_rng(seed).lognormal(14, 0.5, 40)
    one, other = (
        lf.fit_link(Trace.from_rates(rates * factor)).paths(
            "up", horizon_s=40, n_draws=20, rng=np.random.default_rng(7)
        )
        for factor in (1.0, c)
    )
    assert_allclose(other.cumulative_bits, c * one.cumulative_bits, rtol=1e-5)  # float32 rates


def test_the_same_seed_gives_the_same_link_and_paths(rng):
    trace = Trace.from_rates(autoregressive_rates(rng, 300))
    links = [lf.fit_link(trace, seed=3) for _ in range(2)]
    assert links[0].up.marginal.p_value == links[1].up.marginal.p_value
    assert width(links[0]) == width(links[1])


def test_both_directions_latency_and_buffer_from_quick_numbers():
    link = lf.fit_link(Trace.from_quick_numbers(down_bps=24e6, up_bps=6e6, rtt_s=0.055))
    assert link.down.mean_rate_bps > link.up.mean_rate_bps
    rtts = link.draw_rtts_s(2000, np.random.default_rng(0))
    assert np.median(rtts) == pytest.approx(0.055, rel=0.1)
    assert np.quantile(rtts, 0.95) > 0.09  # one probe says nothing of the spread
    assert link.buffer_bytes("up") is None


def test_nothing_measured_is_an_error_that_says_what_to_do():
    with pytest.raises(FitError, match=r"trace: expected at least one .* got none; run one speed"):
        lf.fit_link(Trace())
    latency_only = Trace.from_quick_numbers(rtt_s=0.05)
    with pytest.raises(FitError, match=r"got none"):
        lf.fit_link(latency_only)


def test_a_very_long_record_is_thinned_in_whole_pieces(rng):
    rates = np.tile(np.arange(1.0, 3601.0), 60) * 1e3
    link = lf.fit_link(Trace.from_rates(rates))
    runs = link.up.runs
    assert 150_000 <= runs.rates_bps.size <= 205_000
    assert link.up.measured_s == 216_000
    inside = np.delete(np.diff(runs.rates_bps), runs.first[1:-1] - 1)
    assert (np.abs(inside - 1e3 * IP_BITS_PER_TCP_BIT) < 1).all()  # seconds keep their order


def test_lower_bounds_beside_tests_are_noted_and_raise_the_families(rng):
    tests = Trace.from_rates(rng.lognormal(14, 0.4, 200), direction="up")
    passive = Trace.from_rates(np.full(100, 4e6), direction="up", saturating=False)
    link = lf.fit_link(Trace.merge([tests, passive]))
    assert link.up.marginal.n_lower_bounds == 100
    assert any(finding.kind == "lower bounds" for finding in link.findings)
    alone = lf.fit_link(tests).up.marginal.families
    both = {score.name: score.parameters[-1] for score in link.up.marginal.families}
    assert both["lognormal"] > next(s for s in alone if s.name == "lognormal").parameters[-1]


def test_windows_longer_than_the_runs_are_not_judged():
    parts = [Trace.from_rates(np.arange(1.0, 16.0) * 1e6) for _ in range(40)]
    parts.append(Trace.from_rates(np.full(70, 9e6)))
    link = lf.fit_link(Trace.merge(parts))
    assert link.up.dependence.windows_s == (1, 10)  # one run of 70 s is no sample of minutes


def test_all_but_the_families_is_the_same_without_them(rng):
    trace = Trace.from_rates(autoregressive_rates(rng, 600), direction="up")
    link, bare = (lf.fit_link(trace, seed=3, families=families) for families in (True, False))
    assert link.up.marginal.families
    assert bare.up.marginal.families == ()
    assert bare.up.marginal.p_value is None
    assert bare.up.dependence == link.up.dependence
    one, other = (
        model.paths("up", horizon_s=60, n_draws=20, rng=np.random.default_rng(1)).cumulative_bits
        for model in (link, bare)
    )
    assert_allclose(one, other, rtol=0)
