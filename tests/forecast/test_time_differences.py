import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast.draws import Forecast
from linkfit.forecast.time_differences import forecast_difference, world_quantiles


def forecast(rng, *, scale=1.0, world_sigma=0.3, n_worlds=40, n_each=40):
    world = np.tile(np.arange(n_worlds, dtype=np.int32), n_each)
    level = np.exp(world_sigma * rng.standard_normal(n_worlds))
    draws = scale * level[world] * rng.lognormal(0, 0.5, world.size)
    return Forecast(draws=draws, unit="s", world=world)


def test_without_worlds_apart_only_a_tenth_of_the_scatter_stays(rng):
    same = forecast(rng, world_sigma=0.0)
    groups = [same.draws[same.world == world] for world in range(40)]
    raw = np.std(np.log([np.quantile(g, 0.95, method="inverted_cdf") for g in groups]))
    kept = np.std(np.log(world_quantiles(same, 0.95)))
    assert kept < 0.6 * raw


def test_worlds_that_differ_keep_their_scatter(rng):
    found = np.std(np.log(world_quantiles(forecast(rng, world_sigma=0.5), 0.5)))
    assert found == pytest.approx(0.5, rel=0.35)


def test_never_stays_never():
    draws = np.array([1.0, 1.0, np.inf, np.inf])
    found = world_quantiles(
        Forecast(draws=draws, unit="s", world=np.array([0, 0, 1, 1], np.int32)), 0.5
    )
    assert found.tolist() == [1.0, np.inf]


def test_twice_the_time_is_told_and_the_interval_holds_it(rng):
    first, second = forecast(rng, world_sigma=0.05), forecast(rng, scale=2.0, world_sigma=0.05)
    found = forecast_difference("95 %", first, second, 0.95)
    assert found.low < found.value < found.high
    assert found.prob_more > 0.99
    assert found.value == pytest.approx(float(second.quantile(0.95) - first.quantile(0.95)))


def test_one_seed_for_both_links_does_not_take_their_doubt_away(rng):
    """The same worlds on both sides differ by nothing pair by pair, but not as links."""
    one = forecast(rng, world_sigma=0.4)
    found = forecast_difference("median", one, one, 0.5)
    assert found.value == 0
    assert found.low < -0.2
    assert found.high > 0.2
    assert found.prob_more == pytest.approx(0.5)


@given(st.integers(0, 50), st.floats(0.1, 10))
def test_exchanged_links_change_the_sign(seed, scale):
    rng = np.random.default_rng(seed)
    first, second = forecast(rng, n_worlds=6, n_each=8), forecast(rng, scale=scale, n_worlds=6)
    there = forecast_difference("median", first, second, 0.5)
    back = forecast_difference("median", second, first, 0.5)
    assert back.value == -there.value
    assert back.prob_more == pytest.approx(1 - there.prob_more)
