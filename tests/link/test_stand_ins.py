import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.latency import fit_latency
from linkfit.link.series import IP_BITS_PER_TCP_BIT
from linkfit.link.stand_ins import floor_runs, transfer_runs


def durations(sizes_bytes, rate_bps, rtt_s):
    """Round trips to open, to answer and to double the window, then size over rate."""
    sizes = np.asarray(sizes_bytes, float)
    return rtt_s * (2 + np.log2(1 + sizes / 14_480)) + sizes * 8 * IP_BITS_PER_TCP_BIT / rate_bps


def test_size_and_rate_are_told_apart():
    sizes = np.array([2e4, 1e5, 5e5, 1e6, 5e6, 2e7])
    trace = Trace.from_transfers(sizes, durations(sizes, 8e6, 0.2))
    runs = transfer_runs(trace, "up", None)
    assert runs.mean_rates_bps == pytest.approx(np.full(runs.n_runs, 8e6), rel=0.02)
    naive = sizes[0] * 8 / durations(sizes, 8e6, 0.2)[0]
    assert naive < 1e6  # what size over duration would say of the smallest


def test_a_measured_round_trip_is_used():
    sizes = np.array([5e6, 5e6])
    rtts = np.array([0.05, 0.6])
    took = np.array([durations(5e6, 8e6, rtt) for rtt in rtts])
    runs = transfer_runs(Trace.from_transfers(sizes, took, rtts_s=rtts), "up", None)
    assert runs.mean_rates_bps == pytest.approx([8e6, 8e6], rel=1e-6)


def test_the_idle_round_trip_of_the_link_is_the_next_best():
    latency = fit_latency(Trace.from_quick_numbers(down_bps=1e6, rtt_s=0.3).latency)
    trace = Trace.from_transfers([1e6], durations([1e6], 8e6, 0.3))
    assert transfer_runs(trace, "up", latency).mean_rates_bps == pytest.approx([8e6], rel=1e-6)


def test_only_the_asked_direction_counts():
    assert transfer_runs(Trace.from_transfers([1e6], [1.0]), "down", None) is None


def test_small_transfers_alone_still_give_an_answer():
    link = lf.fit_link(Trace.from_transfers([1e4, 2e4, 1e4], [0.5, 0.5, 0.6]))
    assert link.up.mean_rate_bps > 0


def test_the_floor_is_what_was_carried_at_the_busiest(rng):
    rates = np.full(600, 1e5)
    rates[100:160] = 5e6  # one minute of real use
    rates[300] = 9e7  # one second of a buffer flushed
    trace = Trace.from_rates(rates, saturating=False, layer="ip")
    runs = floor_runs(trace, "up")
    assert 5e6 <= runs.rates_bps[0] <= 9e6 + 5e6  # not the 90 Mbit/s of the one second
    link = lf.fit_link(trace)
    assert link.up.lower_bound_only
    assert any("floor" in finding.text for finding in link.findings)
    assert any("only seen below its limit" in text for text in link.missing)


def test_nothing_carried_is_no_floor():
    assert floor_runs(Trace.from_rates(np.zeros(60), saturating=False), "up") is None
