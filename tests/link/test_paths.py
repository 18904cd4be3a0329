import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.link.paths import CapacityPaths

rate_rows = st.lists(st.lists(st.integers(0, 50), min_size=3, max_size=3), min_size=1, max_size=4)


def walked_time_s(rates, step_s, bits):
    """Second by second round the loop, as one would do it by hand."""
    if bits == 0:
        return 0.0
    time_s, i = 0.0, 0
    while True:
        carried = rates[i % len(rates)] * step_s
        if carried >= bits:
            return time_s + bits / carried * step_s
        bits -= carried
        time_s += step_s
        i += 1


@settings(max_examples=100)
@given(rate_rows, st.integers(0, 400), st.sampled_from([0.5, 1.0, 2.0]))
def test_time_at_bits_agrees_with_a_walk(rows, bits, step_s):
    paths = CapacityPaths.from_rates(np.array(rows, float), step_s)
    draws = np.arange(len(rows))
    times = paths.time_at_bits_s(bits, draws)
    for row, time_s in zip(rows, times, strict=True):
        if sum(row) == 0:
            assert time_s == (np.inf if bits else 0.0)
        else:
            assert time_s == pytest.approx(walked_time_s(row, step_s, bits), abs=1e-9)


@given(rate_rows, st.floats(0, 30))
def test_carried_bits_and_time_are_inverse(rows, time_s):
    paths = CapacityPaths.from_rates(np.array(rows, float))
    draws = np.arange(len(rows))
    bits = paths.carried_bits(time_s, draws)
    reached = paths.time_at_bits_s(bits, draws)
    assert (reached <= time_s + 1e-9).all()  # earlier where nothing was carried since
    finite = np.isfinite(reached)
    assert_allclose(paths.carried_bits(reached[finite], draws[finite]), bits[finite], atol=1e-9)


def test_a_path_loops():
    paths = CapacityPaths.from_rates([1.0, 3.0])
    assert paths.carried_bits([0, 1, 2, 3, 4, 5.5]).tolist() == [0, 1, 4, 5, 8, 10.5]
    assert paths.time_at_bits_s([4.0, 8.0]).tolist() == [2.0, 4.0]  # the end of a round, not later


def test_a_single_number_past_the_end_counts_its_rounds():
    """numpy's divmod of a 0-d array is a plain float64, which once lost the rounds."""
    paths = CapacityPaths.from_rates([0.0, 1.0])
    assert float(paths.carried_bits(2.0)) == 1
    assert float(paths.carried_bits(7.5)) == 3.5


def test_limits_and_shares():
    paths = CapacityPaths.from_rates([[2.0, 8.0]], step_s=2.0)
    assert paths.limited(5.0).rates_bps.tolist() == [[2.0, 5.0]]
    assert paths.scaled(0.5).rates_bps.tolist() == [[1.0, 4.0]]
    assert (paths.horizon_s, paths.mean_rate_bps) == (4.0, 5.0)


def test_paths_are_read_only_and_checked():
    paths = CapacityPaths.from_rates([1.0, 2.0])
    with pytest.raises(ValueError, match="read-only"):
        paths.cumulative_bits[0, 1] = 9.0
    with pytest.raises(InputError, match=r"rates_bps: .* got -1 at index \(1,\)"):
        CapacityPaths.from_rates([1.0, -1.0])
    with pytest.raises(InputError, match=r"world: expected shape \(1,\), got \(2,\)"):
        CapacityPaths(cumulative_bits=np.array([[0.0, 1.0]]), step_s=1.0, world=np.zeros(2))
    with pytest.raises(
        InputError, match=r"cumulative_bits: expected finite numbers that start at 0"
    ):
        CapacityPaths(cumulative_bits=np.array([[1.0, 2.0]]), step_s=1.0, world=np.zeros(1))
