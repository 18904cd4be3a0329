"""Forecast: quantiles that never mix a number with "never", and their uncertainty over worlds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast


def forecast(draws, world=None):
    world = np.zeros(len(draws)) if world is None else world
    return Forecast(draws=np.array(draws, float), unit="s", world=np.array(world))


# RFC 2330 section 11.3: the empirical distribution of -2, 7, 7, 4, 18, -5
@pytest.mark.parametrize(("level", "value"), [(0.5, 4), (0.25, -2), (1.0, 18), (5 / 6, 7)])
def test_percentiles_of_rfc_2330(level, value):
    assert forecast([-2, 7, 7, 4, 18, -5]).quantile(level) == value


def test_never_is_a_quantile_like_any_other():
    fc = forecast([1, 2, 3, np.inf])
    assert fc.quantile(0.75) == 3
    assert fc.quantile(0.95) == np.inf
    assert fc.prob_within(3) == 0.75


def test_one_world_has_no_uncertainty_from_measuring_little():
    low, high = forecast([1, 2, 3, 4]).quantile_interval(0.5)
    assert low == high == 2


def test_worlds_that_differ_widen_the_interval_of_a_quantile():
    world = np.repeat(np.arange(20), 50)
    fc = forecast(world + 10 + np.tile(np.linspace(0, 0.5, 50), 20), world)
    low, high = fc.quantile_interval(0.5)
    assert 10 <= low < 12
    assert 28 <= high <= 29.5


def test_the_interval_of_a_tail_lies_among_the_tails_of_the_worlds():
    # half of the worlds take 1 s, half take 6 s, give or take a little
    world = np.repeat(np.arange(20), 100)
    level = np.where(world % 2, 6.0, 1.0)
    fc = forecast(level * np.tile(np.linspace(0.95, 1.05, 100), 20), world)
    low, high = fc.quantile_interval(0.95)
    assert 0.9 <= low <= 1.1
    assert 6.0 <= high <= 6.4


def test_chance_inside_worlds_is_taken_off_the_interval_between_them(rng):
    # 20 worlds with 40 draws each of one law: their 95th percentiles scatter by chance alone
    widths = []
    for _ in range(20):
        fc = forecast(np.exp(rng.standard_normal(800)), np.repeat(np.arange(20), 40))
        low, high = fc.quantile_interval(0.9)
        widths.append(np.log(high / low))
    raw = np.quantile(np.exp(rng.standard_normal((20, 40))), 0.9, axis=1)
    assert np.median(widths) < 0.7 * np.log(np.quantile(raw, 0.95) / np.quantile(raw, 0.05))


def test_a_quantile_that_is_never_reached_in_some_worlds_says_so():
    fc = forecast([1, 1, 1, np.inf, np.inf, np.inf], [0, 0, 0, 1, 1, 1])
    assert fc.quantile_interval(0.5) == (1, np.inf)


@given(st.lists(st.floats(0, 1e9), min_size=1, max_size=40), st.floats(0.01, 0.99))
def test_a_quantile_is_a_draw_and_grows_with_its_level(draws, level):
    fc = forecast(draws)
    low, high = fc.quantile([level * 0.5, level])
    assert low <= high
    assert high in fc.draws


@given(
    st.lists(st.floats(0, 1e9) | st.just(np.inf), min_size=1, max_size=60),
    st.floats(0, 1) | st.sampled_from([0.0, 0.05, 0.1, 0.25, 1 / 3, 0.5, 0.95, 1.0]),
)
def test_quantiles_are_those_of_numpy(draws, level):
    expected = np.quantile(draws, level, method="inverted_cdf")
    assert forecast(draws).quantile(level) == expected


def test_draws_are_read_only_and_checked():
    with pytest.raises(ValueError, match="read-only"):
        forecast([1.0, 2.0]).draws[0] = 3
    with pytest.raises(InputError, match=r"draws: expected numbers of shape \(d,\)"):
        forecast([])
    with pytest.raises(InputError, match=r"world: expected shape \(2,\), got \(3,\)"):
        Forecast(draws=np.ones(2), unit="s", world=np.zeros(3))
    with pytest.raises(InputError, match=r"levels: expected numbers in \[0, 1\], got 95"):
        forecast([1.0, 2.0]).quantile(95)


def test_the_ends_are_not_drawn_in_by_the_few_draws_of_each_world():
    # worlds' levels scatter by 0.2 in the logarithm, draws by 0.8: the 95th percentiles of worlds
    # lie within 0.8 x 1.645 -+ 1.645 x 0.2, 9 of 10 times
    rng = np.random.default_rng(6)
    world = np.repeat(np.arange(20), 40)
    ends = []
    for _ in range(60):
        level = 0.2 * rng.standard_normal(20)
        draws = np.exp(level[world] + 0.8 * rng.standard_normal(world.size))
        ends.append(np.log(forecast(draws, world).quantile_interval(0.95)) - 0.8 * 1.645)
    low, high = np.mean(ends, axis=0)
    assert low == pytest.approx(-0.2 * 1.645, abs=0.12)
    assert high == pytest.approx(0.2 * 1.645, abs=0.08)
