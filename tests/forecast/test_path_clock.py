"""PathClock against plain look-ups in the path, step for step."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.path_clock import PathClock
from linkfit.link.paths import CapacityPaths

RATES = st.lists(st.sampled_from([0.0, 1e3, 2e5, 7e6]), min_size=1, max_size=8)
MOVES = st.lists(st.tuples(st.booleans(), st.floats(0.0, 3.0)), max_size=12)


@settings(deadline=None)
@given(rates=RATES, moves=MOVES, start_s=st.floats(0.0, 20.0))
def test_agrees_with_looking_everything_up(rates, moves, start_s):
    paths = CapacityPaths.from_rates([[*rates, 5e5], [3e5] * (len(rates) + 1)], 0.5)
    rows = np.array([0, 1, 0])
    time_s = start_s + np.array([0.0, 0.2, 0.7])
    clock = PathClock(paths, rows, time_s)
    for sends, amount in moves:
        if sends:
            clock.send(amount * 1e5)
            time_s = paths.time_at_bits_s(paths.carried_bits(time_s, rows) + amount * 1e5, rows)
            time_s = np.maximum(time_s, 0.0)
        else:
            clock.wait(np.full(3, amount))
            time_s = time_s + amount
        # after an outage "sent nothing" may stand anywhere in it: bits agree always
        assert_allclose(clock.bits, paths.carried_bits(clock.time_s, rows), atol=0.1)
        if not sends or amount > 1e-3:
            assert_allclose(clock.time_s, time_s, atol=1e-5)
        time_s = clock.time_s.copy()


def test_a_dead_row_never_moves_a_bit():
    paths = CapacityPaths.from_rates([[0.0, 0.0], [8.0, 8.0]])
    clock = PathClock(paths, np.array([0, 1]), np.zeros(2))
    clock.send(4.0)
    clock.wait(np.full(2, 1.0))
    assert np.isinf(clock.time_s[0])
    assert_allclose(clock.time_s[1], 1.5)


def test_take_keeps_the_chosen():
    paths = CapacityPaths.from_rates([8.0, 16.0])
    clock = PathClock(paths, np.zeros(3, dtype=int), np.array([0.0, 0.5, 1.0]))
    clock.take(np.array([2, 0]))
    clock.send(8.0)
    assert_allclose(clock.time_s, [1.5, 1.0])
