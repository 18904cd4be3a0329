import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.ingest.trace import Source, ThroughputSamples, Trace
from linkfit.link.series import IP_BITS_PER_TCP_BIT, MeasuredRuns, measured_runs


def make_trace(start_s, duration_s, bits, source=None, has_clock=(True,)):
    n = len(start_s)
    samples = ThroughputSamples(
        start_s=np.array(start_s), duration_s=np.array(duration_s), bits=np.array(bits),
        is_up=np.ones(n), saturating=np.ones(n), transport=np.zeros(n), layer=np.ones(n),
        n_streams=np.zeros(n), source=np.zeros(n) if source is None else np.array(source),
    )  # fmt: skip
    sources = tuple(Source(name="s", format="rates", has_clock=clock) for clock in has_clock)
    return Trace(sources=sources, throughput=samples)


def test_a_gap_and_a_change_of_source_start_a_run():
    trace = make_trace(
        [0, 1, 5, 6, 0, 1], [1] * 6, [1, 2, 3, 4, 5, 6], [0, 0, 0, 0, 1, 1], (False, True)
    )
    runs = measured_runs(trace, "up")
    assert runs.first.tolist() == [0, 2, 4, 6]
    assert runs.rates_bps.tolist() == [5, 6, 1, 2, 3, 4]  # sources with a clock come first
    assert_allclose(runs.start_s, [0.0, np.nan, np.nan])


def test_samples_below_one_second_are_summed():
    runs = measured_runs(make_trace(np.arange(8) / 4, [0.25] * 8, [1, 0, 3, 0, 8, 0, 0, 0]), "up")
    assert runs.rates_bps.tolist() == [4, 8]


def test_a_long_sample_is_spread_over_its_seconds():
    runs = measured_runs(make_trace([0], [10.0], [50.0]), "up")
    assert runs.rates_bps.tolist() == [5.0] * 10


def test_goodput_becomes_ip_layer_bits():
    runs = measured_runs(Trace.from_rates([1448.0], direction="up"), "up")
    assert_allclose(runs.rates_bps, [1500.0])  # RFC 6349 table 4.1.2 with RFC 7323 timestamps
    assert pytest.approx(1500 / 1448) == IP_BITS_PER_TCP_BIT


def test_a_lower_bound_is_no_capacity():
    assert measured_runs(Trace.from_rates([5.0, 6.0], saturating=False), "up") is None
    assert measured_runs(Trace.from_rates([5.0, 6.0], direction="up"), "down") is None


@given(st.lists(st.tuples(st.floats(0.05, 3), st.floats(0, 1e9)), min_size=1, max_size=40))
def test_mean_rate_survives_the_grid(samples):
    durations, bits = np.array(samples).T
    start = np.concatenate(([0.0], np.cumsum(durations)[:-1]))
    runs = measured_runs(make_trace(start, durations, bits), "up")
    n = runs.rates_bps.size
    total = np.interp(n, np.r_[0, np.cumsum(durations)], np.r_[0, np.cumsum(bits)])
    covered_s = min(n, durations.sum())
    last = covered_s - (n - 1)
    carried = runs.rates_bps[:-1].sum() + runs.rates_bps[-1] * last
    assert_allclose(carried, total, rtol=1e-9, atol=1e-3)


def test_runs_refuse_a_negative_rate_and_a_bad_index():
    with pytest.raises(InputError, match=r"rates_bps: expected finite numbers >= 0"):
        MeasuredRuns(rates_bps=np.array([-1.0]), first=np.array([0, 1]), start_s=np.array([0.0]))
    with pytest.raises(InputError, match=r"first: expected growing indices .* got \[0, 2\]"):
        MeasuredRuns(rates_bps=np.array([1.0]), first=np.array([0, 2]), start_s=np.array([0.0]))
