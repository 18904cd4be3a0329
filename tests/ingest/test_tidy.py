import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.ingest.notes import Notes
from linkfit.ingest.tidy import rises, tidy
from linkfit.ingest.trace import LatencySamples, ThroughputSamples, Trace, TransferSamples


def throughput(start_s, duration_s=1.0, bits=None, is_up=True):
    n = len(start_s)
    return Trace(
        throughput=ThroughputSamples(
            start_s=np.array(start_s, dtype=float),
            duration_s=np.full(n, duration_s) if np.isscalar(duration_s) else np.array(duration_s),
            bits=np.arange(n, dtype=float) if bits is None else np.array(bits, dtype=float),
            is_up=np.full(n, is_up), saturating=np.ones(n), transport=np.zeros(n),
            layer=np.zeros(n), n_streams=np.zeros(n), source=np.zeros(n),
        )
    )  # fmt: skip


def tidied(trace, **options):
    notes = Notes("f")
    result = tidy(trace, notes, **options)
    return result, {note.kind: note.n_samples for note in (*notes.repairs, *notes.findings)}


def test_tidy_rows_are_not_touched_or_copied():
    trace = throughput([0, 1, 2, 5])
    result, kinds = tidied(trace)
    assert result.throughput is trace.throughput
    assert kinds == {}


@given(st.permutations(range(12)))
def test_shuffled_rows_are_sorted_with_their_values(order):
    result, kinds = tidied(throughput(order, bits=[10 * i for i in order]))
    assert_array_equal(result.throughput.start_s, range(12))
    assert_array_equal(result.throughput.bits, [10 * i for i in range(12)])
    n_behind = sum(t < max(order[: i + 1]) for i, t in enumerate(order))
    assert kinds.get("rows out of order", 0) == n_behind


def test_equal_rows_are_one():
    result, kinds = tidied(throughput([0, 1, 1, 2], bits=[5, 6, 6, 7]))
    assert_array_equal(result.throughput.bits, [5, 6, 7])
    assert kinds == {"duplicate rows": 1}


def test_a_clock_set_back_is_found_and_its_rows_not_counted_twice():
    times = [*range(100), *(t + 0.25 for t in range(50, 120))]
    result, kinds = tidied(throughput(times))
    assert kinds["clock set back"] == 1
    assert kinds["overlapping rows"] == 50
    assert_allclose(np.diff(result.throughput.start_s).min(), 1.0)
    assert result.throughput.start_s.size == 120


def test_a_row_that_claims_to_last_for_hours_is_cut_where_the_next_begins():
    result, kinds = tidied(
        throughput([0, 1, 2, 3], duration_s=[1, 56902, 1, 1], bits=[1, 56902, 1, 1])
    )
    assert kinds == {"too long": 1}
    assert_allclose(result.throughput.duration_s, 1.0)
    assert_allclose(result.throughput.bits, 1.0)  # its rate is kept


def test_jitter_of_a_poller_is_no_overlap():
    result, kinds = tidied(throughput([0, 0.8, 2.1, 2.9]))
    assert len(result.throughput) == 4
    assert kinds == {}


def test_rows_of_several_far_ends_may_overlap():
    result, kinds = tidied(throughput([0, 0.25, 1, 1.25]), one_peer=False)
    assert len(result.throughput) == 4
    assert kinds == {}


def test_the_directions_do_not_disturb_each_other():
    both = Trace.merge([throughput([0, 1], is_up=False), throughput([1, 0], is_up=True)])
    result, kinds = tidied(both)
    assert_array_equal(result.throughput.start_s, [0, 1, 0, 1])
    assert kinds == {"rows out of order": 1}


def test_round_trips_and_transfers_are_sorted_too():
    ones = np.ones(3)
    latency = LatencySamples(
        time_s=np.array([2.0, 1.0, 1.0]), rtt_s=ones, spread_s=0 * ones, n_probes=ones,
        n_lost=0 * ones, loaded=0 * ones, source=0 * ones,
    )  # fmt: skip
    transfers = TransferSamples(
        start_s=np.array([2.0, 1.0, 1.0]), size_bytes=ones, duration_s=np.array([1.0, 2.0, 3.0]),
        is_up=ones, rtt_s=np.nan * ones, source=0 * ones,
    )  # fmt: skip
    result, kinds = tidied(Trace(latency=latency, transfers=transfers))
    assert_array_equal(result.latency.time_s, [1, 2])
    assert_array_equal(result.transfers.duration_s, [2, 3, 1])  # parallel transfers are kept
    assert kinds["duplicate probes"] == 1


@pytest.mark.parametrize(("times", "answer"), [([], True), ([1.0], True), ([1.0, 1.0], False)])
def test_rising_times(times, answer):
    assert rises(np.array(times)) is answer
