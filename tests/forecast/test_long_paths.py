import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.long_paths import LongPaths, _joined_breaks_s, outages
from linkfit.link.paths import CapacityPaths

RATES = np.array([
    [4.0, 0.0, 0.0, 0.0, 2.0, 2.0],
    [8.0, 8.0, 0.0, 1.0, 1.0, 0.0],
    [1.0, 1.0, 1.0, 1.0, 1.0, 1.0],
])  # fmt: skip


def joined(order, starts, timeout_s=2.0, world=(0, 0, 1)):
    rates = RATES * 10.0
    paths = CapacityPaths.from_rates(rates, 1.0, world)
    made = LongPaths.join(
        paths, n_draws=len(order), timeout_s=timeout_s, rng=np.random.default_rng(0)
    )
    order = np.array(order)
    return LongPaths(
        paths=paths,
        order=order,
        starts_s=np.array(starts, float),
        breaks_s=_joined_breaks_s(paths, order, timeout_s),
    ), made


def test_bits_and_times_are_those_of_the_rows_laid_end_to_end():
    long, _ = joined([[0, 1], [1, 0]], [0.0, 0.0])
    times = np.linspace(0.0, 40.0, 401)
    for draw, rows in enumerate(([0, 1], [1, 0])):
        rates = np.tile(np.concatenate([RATES[row] for row in rows]) * 10.0, 5)
        edges = np.arange(rates.size + 1)
        expected = np.interp(times, edges, np.concatenate(([0.0], np.cumsum(rates))))
        who = np.full(times.size, draw)
        bits = long.carried_bits(times, who)
        assert_allclose(bits, expected)
        back = long.time_at_bits_s(bits, who)
        assert_allclose(long.carried_bits(back, who), bits)
        assert (back <= times + 1e-9).all()


def test_outages_are_listed_with_begin_and_length():
    row, begin, length = outages(CapacityPaths.from_rates(RATES * 10))
    assert list(zip(row.tolist(), begin.tolist(), length.tolist(), strict=True)) == [
        (0, 1.0, 3.0), (1, 2.0, 1.0), (1, 5.0, 1.0),
    ]  # fmt: skip


def test_an_outage_breaks_after_its_timeout_in_every_round():
    long, _ = joined([[0, 1], [1, 0]], [0.0, 0.0])
    who = np.array([0, 0, 0, 1, 1])
    at = np.array([0.0, 3.0, 14.0, 0.0, 100.0])
    assert_allclose(long.next_break_s(at, who), [3.0, 15.0, 15.0, 9.0, 105.0])


def test_without_long_outages_nothing_breaks():
    long, _ = joined([[1, 1], [0, 0]], [0.0, 0.0])
    assert long.next_break_s(np.array([0.0]), np.array([0]))[0] == np.inf
    long, _ = joined([[0, 0]], [0.0], timeout_s=3.0)  # as long as the timeout is not longer
    assert long.next_break_s(np.array([0.0]), np.array([0]))[0] == np.inf


def test_rows_of_one_world_stay_together_and_each_starts_with_its_own():
    _, made = joined([[0, 1]] * 6, [0.0] * 6)
    worlds = made.paths.world[made.order]
    assert (worlds == worlds[:, :1]).all()
    assert made.order[:, 0].tolist() == [0, 1, 2, 0, 1, 2]
    assert (made.starts_s >= 0).all()
    assert (made.starts_s < made.paths.horizon_s).all()


def test_a_dead_row_never_gets_there():
    paths = CapacityPaths.from_rates([0.0, 0.0, 0.0])
    long = LongPaths.join(paths, n_draws=1, timeout_s=1.0, rng=np.random.default_rng(1))
    assert long.time_at_bits_s(np.array([5.0]), np.array([0]))[0] == np.inf
    assert long.carried_bits(np.array([50.0]), np.array([0]))[0] == pytest.approx(0.0)
