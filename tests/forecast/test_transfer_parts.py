"""Parts of the median, by hand on known paths."""

import numpy as np
import pytest

from linkfit.forecast.transfer_parts import parts_s
from linkfit.link.paths import CapacityPaths

WIRE_BITS = 4e6


def test_what_is_neither_capacity_nor_outage_is_round_trips():
    paths = CapacityPaths.from_rates([[1e6, 0.0, 0.0, 1e6] * 10] * 3)
    times_s = np.full(3, 8.5)  # four seconds of sending, four of outage, half a second besides
    found = parts_s(paths, np.zeros(3), WIRE_BITS, times_s, "round trips", 0.5)
    assert found == pytest.approx({"round trips": 0.5, "outages": 4.25, "capacity": 3.75}, abs=0.3)
    assert sum(found.values()) == pytest.approx(8.5)


def test_long_steps_hide_outages_so_the_measured_share_stands_for_them():
    paths = CapacityPaths.from_rates([[1e6] * 10] * 3, 60.0)
    found = parts_s(paths, np.zeros(3), 60e6, np.full(3, 61.0), "round trips", 0.1)
    assert found == pytest.approx({"round trips": 1.0, "outages": 6.0, "capacity": 54.0})


def test_a_median_that_never_comes_has_no_parts():
    paths = CapacityPaths.from_rates([[1e6]])
    assert parts_s(paths, np.zeros(1), 1.0, np.array([np.inf]), "round trips", 0.0) == {}
