import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.ingest.trace import LatencySamples, Trace
from linkfit.link.latency import LatencyModel, fit_latency, latency_prior


def make_samples(rtts_s, loaded=None, n_lost=None):
    n = len(rtts_s)
    rtts = np.asarray(rtts_s, float)
    lost = np.isinf(rtts).astype(int) if n_lost is None else np.array(n_lost)
    return LatencySamples(
        time_s=np.arange(n), rtt_s=rtts, spread_s=np.zeros(n), n_probes=np.ones(n), n_lost=lost,
        loaded=np.zeros(n) if loaded is None else np.array(loaded), source=np.zeros(n),
    )  # fmt: skip


def test_quantiles_of_draws_are_those_of_the_probes(rng):
    rtts = rng.lognormal(-3, 0.3, 3000)
    model = fit_latency(make_samples(rtts))
    draws = model.draw_rtts_s(20_000, rng)
    for level in (0.05, 0.5, 0.95):
        share = np.mean(draws <= np.quantile(rtts, level))
        assert share == pytest.approx(level, abs=5 * np.sqrt(level * (1 - level) / 20_000) + 0.003)


def test_busy_and_idle_are_kept_apart(rng):
    model = fit_latency(make_samples([0.05] * 50 + [0.4] * 50, loaded=[0] * 50 + [1] * 50))
    assert model.draw_rtts_s(3, rng).tolist() == [0.05] * 3
    assert model.draw_rtts_s(3, rng, loaded=True).tolist() == [0.4] * 3
    assert (model.n_idle, model.n_loaded) == (50, 50)


def test_lost_probes_count_as_loss_only(rng):
    model = fit_latency(make_samples([0.05, np.inf, 0.05, 0.05] * 10))
    assert model.loss_frac == 0.25
    assert model.draw_rtts_s(9, rng).max() == 0.05
    assert fit_latency(make_samples([np.inf, np.inf])) is None
    assert fit_latency(LatencySamples()) is None


def test_prior_has_the_published_median_and_ninetieth_percentile(rng):
    # median 56 ms, 90th percentile 101 ms of a year of open uplink tests (IFIP Networking 2024)
    prior = latency_prior()
    assert prior.n_idle == 0
    assert np.interp(0.5, np.linspace(0, 1, 201), prior.idle_rtts_s) == pytest.approx(0.056)
    assert np.interp(0.9, np.linspace(0, 1, 201), prior.idle_rtts_s) == pytest.approx(0.101)
    assert prior.draw_rtts_s(5, rng, loaded=True).min() > 0


@pytest.mark.parametrize(
    ("quantiles", "message"),
    [([0.2, 0.1], "do not fall"), ([0.0, 0.1], "quantiles > 0"), ([0.1], "at least 2")],
)
def test_bad_quantiles_are_refused(quantiles, message):
    with pytest.raises(InputError, match=message):
        LatencyModel(
            idle_rtts_s=np.array(quantiles), loaded_rtts_s=None, loss_frac=0.0, n_idle=1, n_loaded=0
        )


def test_one_probe_has_the_spread_of_links_in_general_around_it():
    one = fit_latency(Trace.from_quick_numbers(rtt_s=0.08).latency)
    low, middle, high = np.interp([0.05, 0.5, 0.95], np.linspace(0, 1, 201), one.idle_rtts_s)
    assert middle == pytest.approx(0.08, rel=0.01)
    # the prior's sigma is log(101 / 56) / 1.2816 = 0.46, and the mean of one is as unsure again
    assert np.log(high / low) == pytest.approx(2 * 1.645 * 0.46 * np.sqrt(2), rel=0.02)


def test_more_probes_that_agree_narrow_it():
    def width(n):
        samples = LatencySamples(
            time_s=np.arange(n), rtt_s=np.full(n, 0.08), spread_s=np.zeros(n),
            n_probes=np.ones(n), n_lost=np.zeros(n), loaded=np.zeros(n), source=np.zeros(n),
        )  # fmt: skip
        model = fit_latency(samples)
        return float(np.log(model.idle_rtts_s[190] / model.idle_rtts_s[10]))

    widths = [width(n) for n in (1, 3, 10, 29, 30)]
    assert (np.diff(widths) < 0).all()
    assert widths[-1] == 0
