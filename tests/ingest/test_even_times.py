import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from linkfit.ingest import even_times
from linkfit.ingest.even_times import EvenTimes, GrowingTimes, TimesOnDemand, end_to_end, stored

EPOCH_S = 1_767_225_600.0
stretches = st.lists(
    st.tuples(
        st.integers(-5, 10**9), st.sampled_from([0.0, 0.25, 1.0, 60.0, -1.0]), st.integers(1, 9)
    ),
    min_size=1,
    max_size=8,
)
jittery = st.lists(st.floats(-1e9, 2e9), max_size=40)


def written_out(parts):
    return np.concatenate([first + step * np.arange(n) for first, step, n in parts])


def grown(times_s, cuts=()):
    growing = GrowingTimes()
    for chunk in np.split(times_s, sorted(cut for cut in cuts if cut < times_s.size)):
        growing.append(chunk, chunk.size)
    return growing.finish()


def values(times):
    return times.between(0, times.size) if isinstance(times, EvenTimes) else times


@given(st.one_of(stretches.map(written_out), jittery.map(np.array)), st.lists(st.integers(0, 60)))
def test_times_come_out_bit_by_bit_as_they_went_in(times_s, cuts):
    assert_array_equal(values(grown(times_s.astype(np.float64), cuts)), times_s)


def test_a_year_of_seconds_is_one_stretch_and_each_gap_one_more():
    times_s = EPOCH_S + np.arange(100_000.0)
    times_s[40_000:] += 17
    times_s[90_000:] += 0.5
    times = grown(times_s, [1, 2, 39_999, 40_001, 65_000])
    assert isinstance(times, EvenTimes)
    assert times.begin.tolist() == [0, 40_000, 90_000]
    assert times.step_s.tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize("times_s", [
    EPOCH_S + np.arange(1, 5000) * 0.1,  # tenths are no doubles: no grid gives them all back
    EPOCH_S + np.cumsum(np.random.default_rng(1).exponential(1.0, 5000)),
], ids=["tenths", "trembling"])  # fmt: skip
def test_times_on_no_grid_stay_an_array(times_s):
    times = grown(times_s, [1000, 3000])
    assert isinstance(times, np.ndarray)
    assert_array_equal(times, times_s)


def test_times_that_leave_their_grid_late_lose_nothing(monkeypatch):
    monkeypatch.setattr(even_times, "_BLOCK_ROWS", 100)
    times_s = EPOCH_S + np.append(np.arange(1000.0), 1000 + np.geomspace(0.1, 900, 500))
    times = grown(times_s, [333, 1000, 1200])
    assert isinstance(times, np.ndarray)
    assert_array_equal(times, times_s)


@given(stretches, st.integers(0, 80), st.integers(0, 80))
def test_parts_agree_with_slices(parts, begin, end):
    times_s = written_out(parts)
    times = grown(times_s)
    assert isinstance(times, EvenTimes)
    assert_array_equal(times.between(begin, end), times_s[begin:end])
    part = times.part(begin, end)
    assert part.size == times_s[begin:end].size
    assert_array_equal(values(part), times_s[begin:end])
    assert_array_equal(values(part.part(1, 3)), times_s[begin:end][1:3])


@given(stretches, stretches)
def test_joining_agrees_with_concatenation(a, b):
    both = end_to_end([grown(written_out(a)), grown(written_out(b))])
    assert_array_equal(values(both), np.concatenate([written_out(a), written_out(b)]))


@given(stretches, st.data())
def test_selecting_agrees_with_indexing(parts, data):
    times_s = written_out(parts)
    times = grown(times_s)
    n = times_s.size
    mask = np.array(data.draw(st.lists(st.booleans(), min_size=n, max_size=n)), dtype=bool)
    assert_array_equal(values(times.selected(mask)), times_s[mask])
    assert_array_equal(values(times.selected(np.flatnonzero(mask))), times_s[mask])


def test_selecting_rows_that_lie_together_keeps_the_grid():
    times = grown(np.arange(10.0))
    part = times.selected(np.arange(10) >= 4)
    assert isinstance(part, EvenTimes)
    assert_array_equal(values(part), np.arange(4.0, 10.0))


def test_the_grid_itself_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        grown(np.arange(5.0)).first_s[0] = 1.0


def test_the_array_is_built_when_it_is_read_and_stays():
    class Table:
        __slots__ = ("start_s",)

    Table.start_s = TimesOnDemand(Table.start_s)
    table = Table()
    table.start_s = grown(np.arange(5.0))
    assert isinstance(stored(table, "start_s"), EvenTimes)
    first = table.start_s
    assert_array_equal(first, np.arange(5.0))
    assert table.start_s is first
    assert stored(table, "start_s") is first
    assert not first.flags.writeable
