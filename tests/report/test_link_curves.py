import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.series import MeasuredRuns
from linkfit.report.link_curves import (
    N_WORLDS,
    autocorrelation_curve,
    model_rates_bps,
    quantile_curve,
    spread_curve,
)


def runs_of(*parts):
    return MeasuredRuns(
        rates_bps=np.concatenate(parts),
        first=np.cumsum([0, *(len(part) for part in parts)]),
        start_s=np.full(len(parts), np.nan),
    )


def worlds_like(part):
    """A "model" that is the record itself in every world."""
    return np.broadcast_to(np.asarray(part, float), (N_WORLDS, 1, len(part)))


@pytest.fixture
def walk(rng):
    """An autoregression with known correlation 0.9 ** lag, shifted above 0."""
    noise = rng.normal(size=4000)
    out = np.empty(4000)
    out[0] = noise[0]
    for i in range(1, 4000):
        out[i] = 0.9 * out[i - 1] + np.sqrt(1 - 0.81) * noise[i]
    return 1e6 * (10 + out)


def test_a_model_that_is_the_record_lies_on_every_curve(walk):
    for curve in (quantile_curve, autocorrelation_curve, spread_curve):
        found = curve(runs_of(walk), worlds_like(walk))
        assert_allclose(found.model_values, found.measured_values)
        assert_allclose(found.low_values, found.high_values)


def test_autocorrelation_of_an_autoregression(walk):
    found = autocorrelation_curve(runs_of(walk), worlds_like(walk))
    # standard error of an estimate with this memory: sqrt(19 / 4000) = 0.07; 3 of them
    assert_allclose(found.measured_values[:5], 0.9 ** np.arange(1, 6), atol=0.21)
    assert found.x[-1] == 60


def test_autocorrelation_agrees_with_pairs_counted_one_by_one(rng):
    parts = [rng.uniform(1e6, 9e6, n) for n in (7, 12, 3)]
    found = autocorrelation_curve(runs_of(*parts), worlds_like(parts[1]))
    everything = np.concatenate(parts)
    for lag, value in zip(found.x.astype(int), found.measured_values, strict=True):
        products = [
            (part[i] - everything.mean()) * (part[i + lag] - everything.mean())
            for part in parts
            for i in range(len(part) - lag)
        ]
        assert_allclose(value, np.mean(products) / everything.var())


def test_averages_of_independent_seconds_shrink_with_the_square_root(rng):
    seconds = rng.uniform(4e6, 6e6, 60_000)
    found = spread_curve(runs_of(seconds), worlds_like(seconds[:600]))
    expected = np.std([4, 6]) / np.sqrt(3) / 5 / np.sqrt(found.x)
    assert_allclose(
        found.measured_values, expected, rtol=0.25
    )  # 200 averages of 300 s: 5 errors of 5 %


def test_a_record_too_short_or_without_spread_has_no_curve():
    short = runs_of(np.array([5e6, 6e6, 4e6]))
    assert autocorrelation_curve(short, worlds_like([5e6] * 10)) is None
    assert spread_curve(short, worlds_like([5e6] * 10)) is None
    assert autocorrelation_curve(runs_of(np.full(50, 5e6)), worlds_like([5e6] * 50)) is None


def test_futures_of_a_fitted_link_have_the_shape_the_curves_need(walk):
    link = fit_link(Trace.from_rates(walk[:600], direction="up"))
    rates_bps = model_rates_bps(link, "up", seed=3)
    assert rates_bps.shape[0] == N_WORLDS
    assert rates_bps.shape[2] == 600
    assert (rates_bps == model_rates_bps(link, "up", seed=3)).all()
