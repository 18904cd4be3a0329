import numpy as np
import pytest

from linkfit.forecast.chances import chance_of


def test_one_world_has_no_interval():
    found = chance_of(np.array([True, False, True, True]), np.zeros(4, dtype=np.int32))
    assert (found.prob, found.low_prob, found.high_prob) == (0.75, 0.75, 0.75)


def test_worlds_that_differ_by_chance_alone_shrink_and_real_ones_do_not():
    rng = np.random.default_rng(5)
    world = np.repeat(np.arange(20, dtype=np.int32), 200)
    same = chance_of(rng.random(4000) < 0.5, world)
    assert same.high_prob - same.low_prob < 0.05
    apart = chance_of(rng.random(4000) < np.linspace(0.1, 0.9, 20)[world], world)
    assert apart.low_prob == pytest.approx(0.14, abs=0.05)
    assert apart.high_prob == pytest.approx(0.86, abs=0.05)
    assert apart.low_prob <= apart.prob <= apart.high_prob


def test_the_interval_stays_a_probability():
    world = np.repeat(np.arange(4, dtype=np.int32), 2)
    found = chance_of(np.array([1, 1, 1, 1, 1, 1, 0, 0]), world)
    assert 0.0 <= found.low_prob <= found.prob <= found.high_prob <= 1.0
