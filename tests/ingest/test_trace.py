import copy
import pickle
from dataclasses import fields, replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import InputError
from linkfit.ingest.even_times import EvenTimes, GrowingTimes, stored
from linkfit.ingest.trace import LatencySamples, ThroughputSamples, Trace
from tests.strategies import traces


def test_rates_become_samples_with_bits_of_each_step():
    trace = Trace.from_rates([1e6, 0.0, 3e6], step_s=0.5, direction="down")
    assert_allclose(trace.throughput.bits, [5e5, 0.0, 1.5e6])
    assert_allclose(trace.throughput.rates_bps, [1e6, 0.0, 3e6])
    assert not trace.throughput.is_up.any()
    assert not trace.sources[0].has_clock


def test_a_start_gives_the_series_a_clock():
    start = datetime(2026, 1, 1, tzinfo=UTC)
    trace = Trace.from_rates([1.0], start=start)
    assert trace.sources[0].has_clock
    assert trace.throughput.start_s[0] == 1767225600.0


def test_a_start_without_zone_is_refused():
    with pytest.raises(InputError, match=r"expected a time with its zone, got 2026-01-01T00:00:00"):
        Trace.from_rates([1.0], start=datetime(2026, 1, 1))


def test_transfers_follow_each_other_without_starts():
    trace = Trace.from_transfers([1e6, 2e6], [2.0, 4.0])
    assert_allclose(trace.transfers.start_s, [0.0, 2.0])
    assert_allclose(trace.transfers.rates_bps, [4e6, 4e6])


@pytest.mark.parametrize(("field", "value", "text"), [
    ("bits", -1.0, "bits: expected finite numbers >= 0, got -1 at index 1"),
    ("bits", np.nan, "bits: expected finite numbers >= 0, got nan at index 1"),
    ("duration_s", 0.0, "duration_s: expected finite numbers > 0, got 0 at index 1"),
])  # fmt: skip
def test_an_impossible_sample_is_named(field, value, text):
    columns = {
        "start_s": np.arange(2.0), "duration_s": np.ones(2), "bits": np.ones(2),
        "is_up": np.ones(2), "saturating": np.ones(2), "transport": np.zeros(2),
        "layer": np.zeros(2), "n_streams": np.zeros(2), "source": np.zeros(2),
    }  # fmt: skip
    columns[field] = np.array([1.0, value])
    with pytest.raises(InputError, match=text):
        ThroughputSamples(**columns)


def test_a_lost_burst_has_no_finite_round_trip():
    one = {"time_s": np.zeros(1), "spread_s": np.zeros(1), "n_probes": np.ones(1),
           "loaded": np.zeros(1), "source": np.zeros(1)}  # fmt: skip
    lost = LatencySamples(rtt_s=np.array([np.inf]), n_lost=np.ones(1), **one)
    assert lost.loss_frac == 1.0
    with pytest.raises(InputError, match=r"inf exactly where all probes were lost, got 0.05"):
        LatencySamples(rtt_s=np.array([0.05]), n_lost=np.ones(1), **one)


@given(traces(), traces())
def test_merging_keeps_all_samples_and_their_sources(one, two):
    both = Trace.merge([one, two])
    assert len(both.throughput) == len(one.throughput) + len(two.throughput)
    names = [both.sources[i].name for i in both.throughput.source]
    expected = [t.sources[i].name for t in (one, two) for i in t.throughput.source]
    assert names == expected
    assert_array_equal(both.throughput.bits, [*one.throughput.bits, *two.throughput.bits])


@given(traces())
def test_arrays_of_a_trace_cannot_be_changed(trace):
    with pytest.raises(ValueError, match=r"read-only"):
        trace.throughput.bits[...] = 0.0


START_S = 1_767_225_600.0 + np.array([0.0, 1, 2, 3, 10, 11, 12])


def samples_from(start_s):
    n = 7
    return ThroughputSamples(
        start_s=start_s, duration_s=np.broadcast_to(1.0, n), bits=np.arange(n), is_up=np.ones(n),
        saturating=np.ones(n), transport=np.zeros(n), layer=np.zeros(n), n_streams=np.zeros(n),
        source=np.zeros(n),
    )  # fmt: skip


@pytest.fixture
def on_grid():
    growing = GrowingTimes()
    growing.append(START_S, START_S.size)
    return samples_from(growing.finish())


def test_starts_on_a_grid_are_built_when_they_are_read(on_grid):
    assert len(on_grid) == 7
    assert_array_equal(on_grid.starts_between_s(2, 5), START_S[2:5])
    assert isinstance(stored(on_grid, "start_s"), EvenTimes)
    assert_array_equal(on_grid.start_s, START_S)
    assert_array_equal(on_grid.starts_between_s(2, 5), START_S[2:5])
    with pytest.raises(ValueError, match=r"read-only"):
        on_grid.start_s[0] = 0.0


@pytest.mark.parametrize("change", [
    lambda s: s.part(2, 6),
    lambda s: s.take(np.arange(7) > 2),
    lambda s: s.take(np.array([6, 0, 3])),
    lambda s: type(s).concatenate([s, s.part(0, 3)], [0, 1]),
    lambda s: replace(s, bits=s.bits + 1),
    lambda s: pickle.loads(pickle.dumps(s)),
    lambda s: copy.deepcopy(s),
])  # fmt: skip
def test_samples_on_a_grid_are_handled_as_others_are(on_grid, change):
    kept, plain = change(on_grid), change(samples_from(START_S))
    for field in fields(ThroughputSamples):
        assert_array_equal(getattr(kept, field.name), getattr(plain, field.name))


def test_starts_on_a_grid_must_be_as_many_as_the_other_columns(on_grid):
    with pytest.raises(InputError, match=r"arrays of one length, got {'start_s': 7"):
        replace(on_grid, bits=np.ones(3))
