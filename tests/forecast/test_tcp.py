"""Transfer times against cases by hand and invariants."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.tcp import transfer_times_s
from linkfit.link.paths import CapacityPaths

PACKET_BITS = 12000.0


def test_one_packet_is_two_round_trips_and_two_sendings():
    paths = CapacityPaths.from_rates([12e6])
    times = transfer_times_s(paths, [0.0, 0.3], 1448, 0.06)
    assert_allclose(times, 0.12 + (480 + PACKET_BITS) / 12e6)


def test_slow_start_before_the_link_is_full_by_hand():
    # 12 Mbit/s, 100 ms: 100 packets fill the link. Rounds of 10, 20, 40 and 30 packets begin a
    # round trip and one packet apart; the last packet is the 30th of its round.
    paths = CapacityPaths.from_rates([12e6])
    expected = (0.1 + 480 / 12e6) + 3 * (0.1 + 1e-3) + 30e-3 + 0.1
    assert_allclose(transfer_times_s(paths, [0.0], 100 * 1448, 0.1), expected)


def test_a_dead_link_never_delivers():
    paths = CapacityPaths.from_rates([0.0])
    assert np.isinf(transfer_times_s(paths, [0.0], 1e5, 0.1)).all()


def test_an_unknown_congestion_control_is_refused():
    paths = CapacityPaths.from_rates([1e6])
    with pytest.raises(InputError, match=r"congestion: expected 'cubic' or .*, got 'fast'"):
        transfer_times_s(paths, [0.0], 1e5, 0.1, congestion="fast")
