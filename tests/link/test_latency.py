import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.ingest.trace import LatencySamples
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
    model = fit_latency(make_samples([0.05, np.inf, 0.05, 0.05]))
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
