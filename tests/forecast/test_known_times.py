"""Runs are walked again only for round trips they have not had."""

import numpy as np
from numpy.testing import assert_array_equal

from linkfit.forecast.known_times import KnownTimes


def test_nothing_is_known_at_first():
    assert KnownTimes(3).lacks(np.array([0.1, 0.2, 0.3])).all()


def test_each_run_is_known_at_the_round_trips_it_was_walked_with():
    known = KnownTimes(3)
    first_s = np.array([0.1, 0.2, 0.3])
    known.add(first_s, np.ones(3, bool), np.array([1.0, 2.0, 3.0]))
    second_s = np.array([0.1, 0.5, 0.3])
    assert_array_equal(known.lacks(second_s), [False, True, False])
    known.add(second_s, known.lacks(second_s), np.array([5.0]))
    assert_array_equal(known.times_s(second_s), [1.0, 5.0, 3.0])
    assert_array_equal(known.times_s(first_s), [1.0, 2.0, 3.0])
