"""Intervals over worlds: what they hold, and what more rows change."""

import numpy as np
import pytest

from linkfit.forecast.world_intervals import over_worlds


def spread(rng, n_worlds, n_rows, between, within):
    world = np.repeat(np.arange(n_worlds), n_rows).astype(np.int32)
    levels = rng.normal(0.0, between, n_worlds)
    return world, levels[world] + rng.normal(0.0, within, world.size)


def test_one_world_has_no_interval():
    found = over_worlds(np.zeros(4, np.int32), lambda rows: float(rows.mean()))
    assert (found.value, found.low, found.high) == (1.5, 1.5, 1.5)


def test_the_scatter_of_worlds_is_shown_and_chance_is_not(rng):
    world, values = spread(rng, 200, 10, 1.0, 0.5)
    found = over_worlds(world, lambda rows: float(values[rows].mean()))
    # +-1.645 standard deviations of the worlds alone; 200 worlds tell it to about a tenth
    assert (found.high - found.low) / 2 == pytest.approx(1.645, rel=0.15)
    world, values = spread(rng, 200, 10, 0.0, 1.0)
    found = over_worlds(world, lambda rows: float(values[rows].mean()))
    assert (found.high - found.low) / 2 < 1.645 / np.sqrt(10) * 0.6


def test_the_interval_holds_the_value(rng):
    world, values = spread(rng, 6, 3, 0.3, 1.0)
    found = over_worlds(world, lambda rows: float(np.median(values[rows])))
    assert found.low <= found.value <= found.high
