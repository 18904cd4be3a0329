import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from linkfit.ingest.growing import GrowingColumn

chunks = st.lists(st.lists(st.sampled_from([0.0, 1.0, 2.5]), max_size=6), max_size=6)


@given(chunks, st.integers(0, 10))
def test_chunks_come_out_as_they_went_in(parts, n_expected):
    column = GrowingColumn(np.float64, n_expected)
    for part in parts:
        column.append(np.array(part), len(part))
    assert_array_equal(column.finish(), [value for part in parts for value in part])


def test_one_value_throughout_is_stored_once():
    column = GrowingColumn(np.bool_)
    column.append(True, 1000)
    column.append(np.ones(500, dtype=bool), 500)
    finished = column.finish()
    assert finished.strides == (0,)
    assert finished.size == 1500


def test_a_column_longer_than_expected_grows():
    column = GrowingColumn(np.float64, 2)
    for i in range(3000):
        column.append(np.array([float(i)]), 1)
    assert_array_equal(column.finish(), np.arange(3000.0))


@given(chunks, chunks)
def test_extending_agrees_with_concatenation(one, two):
    columns = [GrowingColumn(np.float64), GrowingColumn(np.float64)]
    for column, parts in zip(columns, (one, two), strict=True):
        for part in parts:
            column.append(np.array(part), len(part))
    columns[0].extend(columns[1])
    assert_array_equal(columns[0].finish(), [value for part in one + two for value in part])


def test_extending_one_value_by_itself_stays_one_stored_value():
    columns = [GrowingColumn(np.float64), GrowingColumn(np.float64)]
    for column in columns:
        column.append(3.0, 10)
    columns[0].extend(columns[1])
    assert columns[0].finish().strides == (0,)
