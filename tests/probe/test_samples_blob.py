import pytest

from linkfit.ingest.store_format import GAP, rate_of
from linkfit.probe.samples_blob import HourOfSamples


def test_an_hour_survives_packing():
    hour = HourOfSamples.empty().filled([(0, 100, 0), (3599, 7, 8)])
    again = HourOfSamples.unpacked(hour.packed(), 1)
    assert again == hour
    assert again.n_cells == 2
    assert again.up[0] == 0
    assert again.down[1] == GAP


def test_what_is_held_is_never_overwritten():
    hour = HourOfSamples.empty().filled([(5, 100, 100)]).filled([(5, 900, 900), (6, 1, 1)])
    assert round(rate_of(hour.down[5])) == 100
    assert hour.n_cells == 2


def test_averages_are_of_what_was_observed_and_gaps_stay_gaps():
    seconds = [(s, 100, 50) for s in range(10)]
    seconds += [(10 + s, 200, 0) for s in range(5)]  # half of the cell: kept
    seconds += [(20 + s, 300, 0) for s in range(4)]  # less than half: a gap
    hour = HourOfSamples.empty().filled(seconds).averaged(10)
    assert rate_of(hour.down[0]) == pytest.approx(100, rel=1e-3)
    assert rate_of(hour.down[1]) == pytest.approx(200, rel=1e-3)
    assert hour.up[1] == 0
    assert hour.down[2] == hour.down[3] == GAP
    assert len(hour.down) == 360


def test_averaging_twice_is_averaging_once():
    hour = HourOfSamples.empty().filled((s, s + 1, 1) for s in range(3600))
    twice, once = hour.averaged(10).averaged(60), hour.averaged(60)
    for a, b in zip(twice.down, once.down, strict=True):
        assert rate_of(a) == pytest.approx(rate_of(b), rel=1e-3)
