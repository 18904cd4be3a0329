from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.ingest.split import halves, split_at
from linkfit.ingest.trace import Trace

START = datetime(2026, 6, 1, tzinfo=UTC)


def clocked(n=10, direction="up"):
    return Trace.from_rates(np.arange(1, n + 1) * 1e6, direction=direction, start=START)


def test_a_moment_falls_to_the_later_part():
    before, after = split_at(clocked(), START.timestamp() + 4)
    assert before.throughput.bits.tolist() == [1e6, 2e6, 3e6, 4e6]
    assert after.throughput.bits[0] == 5e6
    assert len(after.throughput) == 6


def test_each_direction_is_halved_by_itself():
    first, second = halves(Trace.merge([clocked(10), clocked(4, "down")]))
    for part in (first, second):
        assert part.throughput.is_up.sum() == 5
        assert (~part.throughput.is_up).sum() == 2


def test_rows_out_of_order_are_halved_in_order_of_time():
    trace = Trace.merge([split_at(clocked(), START.timestamp() + 5)[i] for i in (1, 0)])
    first, _ = halves(trace)
    assert sorted(first.throughput.bits) == [1e6, 2e6, 3e6, 4e6, 5e6]


def test_transfers_are_halved_too():
    first, second = halves(Trace.from_transfers([1e6] * 6, [1.0] * 6))
    assert (len(first.transfers), len(second.transfers)) == (3, 3)


@given(st.integers(2, 200))
def test_nothing_is_lost_and_the_halves_are_even(n):
    trace = Trace.from_rates(np.full(n, 1e6))
    first, second = halves(trace)
    assert len(first.throughput) + len(second.throughput) == n
    assert abs(len(first.throughput) - len(second.throughput)) <= 1


def test_a_trace_without_a_clock_has_no_day():
    with pytest.raises(InputError, match="expected measurements with a time of day, got 'rates"):
        split_at(Trace.from_rates([1e6, 2e6]), 0.0)


@pytest.mark.parametrize(("offset_s", "side"), [(-5, "before"), (50, "after")])
def test_a_moment_outside_leaves_one_side_empty(offset_s, side):
    with pytest.raises(InputError, match=f"measurements of rates {side} it, got none"):
        split_at(clocked(), START.timestamp() + offset_s)


def test_one_sample_has_no_halves():
    with pytest.raises(InputError, match="got none"):
        halves(Trace.from_rates([1e6]))
