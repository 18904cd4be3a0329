import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from linkfit.errors import InputError
from linkfit.ingest.even_times import EvenTimes, GrowingTimes
from linkfit.ingest.storage import (
    BLOCK_ROWS,
    first_wrong,
    freeze,
    is_constant,
    joined,
    moved,
    selected,
    typed,
)


def constant(value, n):
    return np.broadcast_to(np.float64(value), (n,))


def test_a_broadcast_column_is_one_stored_value_and_a_full_one_is_not():
    assert is_constant(constant(3.0, 5))
    assert not is_constant(np.full(5, 3.0))


def test_typing_keeps_a_constant_small_and_makes_a_slice_contiguous():
    assert typed(constant(1.0, 9), np.int8).strides == (0,)
    assert typed(np.arange(10.0)[::2], np.float64).flags.c_contiguous


parts = st.lists(
    st.one_of(
        st.builds(constant, st.sampled_from([0.0, 1.0]), st.integers(0, 4)),
        st.lists(st.sampled_from([0.0, 1.0, 2.0]), max_size=4).map(np.array),
    ),
    max_size=4,
)


@given(parts)
def test_joining_agrees_with_concatenation(columns):
    expected = np.concatenate(columns) if columns else np.empty(0)
    assert_array_equal(joined(columns), expected)


def test_joining_equal_constants_stays_one_stored_value():
    assert joined([constant(2.0, 3), constant(2.0, 4)]).strides == (0,)


@given(st.lists(st.booleans(), max_size=8))
def test_selecting_agrees_with_indexing(mask):
    mask = np.array(mask, dtype=bool)
    for column in (constant(5.0, mask.size), np.arange(float(mask.size))):
        assert_array_equal(selected(column, mask), column[mask])
        assert_array_equal(selected(column, np.flatnonzero(mask)), column[mask])


def test_source_indices_move_by_their_offset():
    assert_array_equal(moved(np.broadcast_to(np.int32(1), (3,)), 4), [5, 5, 5])
    assert_array_equal(moved(np.array([0, 1]), 4), [4, 5])


def test_the_first_wrong_value_is_found_beyond_a_block():
    values = np.ones(BLOCK_ROWS + 3)
    assert first_wrong(values, zero_is_wrong=True) is None
    values[-1] = -1.0
    assert first_wrong(values, zero_is_wrong=False) == BLOCK_ROWS + 2
    values[5] = np.nan
    assert first_wrong(values, zero_is_wrong=False) == 5


def test_columns_of_two_lengths_are_refused():
    class Two:
        a = np.zeros(2)
        b = np.zeros(3)

    with pytest.raises(InputError, match=r"arrays of one length, got {'a': 2, 'b': 3}"):
        freeze(Two(), ["a", "b"], {"a": np.float64, "b": np.float64})


def even(n, first=0.0, step=1.0):
    growing = GrowingTimes()
    growing.append(first + step * np.arange(n), n)
    return growing.finish()


def test_even_times_pass_through_joining_and_selecting():
    both = joined([even(5), even(4, first=100.0)])
    assert isinstance(both, EvenTimes)
    assert_array_equal(both.between(3, 7), [3.0, 4.0, 100.0, 101.0])
    assert isinstance(selected(both, np.arange(9) < 6), EvenTimes)
    assert_array_equal(selected(both, np.array([8, 0])), [103.0, 0.0])
    mixed = joined([even(3), np.array([7.5])])
    assert_array_equal(mixed, [0.0, 1.0, 2.0, 7.5])


def test_a_mask_that_keeps_all_copies_nothing():
    array = np.arange(5.0)
    assert selected(array, np.ones(5, dtype=bool)) is array
