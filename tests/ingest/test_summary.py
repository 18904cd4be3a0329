from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.ingest.summary import coverage_s, summarise
from linkfit.ingest.trace import Trace
from tests.strategies import traces, transfer_traces


def test_a_day_by_hand():
    start = datetime(2026, 1, 1, 23, 59, 30, tzinfo=UTC)
    trace = Trace.from_rates([0.0, 2e6, 4e6, 6e6], step_s=30.0, start=start)
    (up,) = summarise(trace).throughput
    assert (up.direction, up.n_samples, up.n_saturating) == ("up", 4, 4)
    assert up.measured_s == 120.0
    assert up.coverage_s[23] == 30.0
    assert up.coverage_s[0] == 90.0
    assert up.zero_frac == 0.25
    assert (up.rate_bps.p05, up.rate_bps.p50, up.rate_bps.p95) == (0.0, 2e6, 6e6)
    assert up.n_gaps == 0


def test_samples_without_clock_cover_no_hour():
    (up,) = summarise(Trace.from_rates([1e6])).throughput
    assert up.coverage_s is None
    assert not summarise(Trace.from_rates([1e6])).has_clock


@given(
    st.lists(st.tuples(st.integers(0, 200_000), st.integers(1, 100_000)), min_size=1, max_size=6)
)
def test_coverage_agrees_with_counting_each_second(spans):
    slow = np.zeros(24)
    for start, length in spans:
        hours = (np.arange(start, start + length) // 3600) % 24
        slow += np.bincount(hours, minlength=24)
    starts, lengths = np.array(spans, dtype=float).T
    assert_allclose(coverage_s(starts, lengths), slow)


@given(traces(), transfer_traces())
def test_a_summary_counts_everything_once(rates, transfers):
    summary = summarise(Trace.merge([rates, transfers]))
    assert sum(way.n_samples for way in summary.throughput) == len(rates.throughput)
    assert sum(way.n_transfers for way in summary.transfers) == len(transfers.transfers)
    assert summary.n_sources == 2
    assert dict(summary.formats) == {"rates": 1, "transfers": 1}


def test_round_trips_with_loss(read):
    text = "t_s,rtt_ms,loss_pct,n_probes\n" + "".join(
        f"{i},{50 + 10 * (i % 2)},{100 if i == 9 else 0},1\n" for i in range(10)
    )
    (idle,) = summarise(read(text)).latency
    assert (idle.n_probes, idle.loss_frac, idle.loaded) == (10, 0.1, False)
    assert idle.rtt_s.p50 == 0.05  # five of ten, RFC 2330 section 11.3
    assert idle.rtt_s.p95 == np.inf  # the lost probe
    # RFC 3550 section 6.4.1: eight differences of 10 ms in a row
    assert idle.jitter_s == pytest.approx(0.01 * (1 - (15 / 16) ** 8))


def test_between_two_sources_there_is_neither_gap_nor_jitter(read):
    one = read("t_s,up_bps,rtt_ms\n0,5,50\n1,5,50\n", name="a")
    two = read("t_s,up_bps,rtt_ms\n900,5,90\n901,5,90\n", name="b")
    summary = summarise(Trace.merge([one, two]))
    assert summary.throughput[0].n_gaps == 0
    assert summary.latency[0].jitter_s == 0.0


@pytest.mark.shared
def test_a_real_series_with_its_known_gaps(shared_traces):
    from linkfit.ingest.reader import read_trace

    summary = summarise(read_trace(shared_traces / "leo-1s" / "iperf.csv"))
    down, up = summary.throughput
    assert up.zero_frac == pytest.approx(41 / up.n_samples)
    assert (down.n_samples, up.n_samples) == (17478 - 113, 17478 - 994)
    assert sum(up.coverage_s) == pytest.approx(up.measured_s)
    assert {f.kind for f in summary.findings} >= {"gaps", "times without zone"}
