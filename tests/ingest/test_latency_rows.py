import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

HEADER = "timestamp_start,timestamp_end,packet_loss,packets_send,ping_avg,ping_stddev\n"


def bursts(*cells):
    return HEADER + "".join(
        f"2026-01-01 00:{i:02d}:00,2026-01-01 00:{i:02d}:25,{c}\n" for i, c in enumerate(cells)
    )


def test_bursts_keep_their_probes_losses_and_spread(read):
    samples = read(bursts("0.4,250,57.7,8.2", "98,250,60.1,1.0")).latency
    assert_allclose(samples.rtt_s, [0.0577, 0.0601])
    assert_allclose(samples.spread_s, [0.0082, 0.001])
    assert_array_equal(samples.n_lost, [1, 245])
    assert samples.loss_frac == pytest.approx(246 / 500)


def test_percent_is_told_from_a_fraction_by_what_one_probe_is(read):
    # never above 1: 0.4 is 1 of 250 in percent, or 100 of 250 as a fraction
    samples = read(bursts("0.4,250,57.7,8.2", "0.8,250,60.1,1.0")).latency
    assert_array_equal(samples.n_lost, [1, 2])
    samples = read(bursts("0.1,10,57.7,8.2", "0.3,10,60.1,1.0")).latency
    assert_array_equal(samples.n_lost, [1, 3])


def test_a_stated_unit_of_loss_is_taken(read):
    samples = read("t_s,rtt_ms,loss_pct,n_probes\n0,50,1,100\n10,50,0,100\n").latency
    assert_array_equal(samples.n_lost, [1, 0])


def test_a_burst_that_was_lost_has_no_round_trip_but_counts(read):
    samples = read(bursts("100,250,0,0", "0,250,60,1")).latency
    assert samples.rtt_s[0] == np.inf
    assert samples.loss_frac == 0.5


def test_the_unit_of_a_round_trip_is_told_where_only_one_fits(read):
    for unit, factor in (("0.05", 1.0), ("50", 1e-3), ("50000", 1e-6)):
        samples = read(f"t_s,rtt\n0,{unit}\n1,{unit}\n").latency
        assert_allclose(samples.rtt_s, float(unit) * factor)


def test_an_empty_round_trip_is_not_measured_and_zero_impossible(read, kinds):
    trace = read("t_s,rtt_ms\n0,50\n1,\n2,0\n3,51\n")
    assert_allclose(trace.latency.rtt_s, [0.05, 0.051])
    assert kinds(trace)["not measured: round trip"] == 1
    assert kinds(trace)["impossible round trip"] == 1


def test_round_trips_beside_high_rates_are_loaded(read, kinds):
    lines = [f"{i},{40 if i < 30 else 0.01},{70 if i < 30 else 30}" for i in range(100)]
    trace = read("t_s,rx_mbps,rtt_ms\n" + "\n".join(lines) + "\n")
    assert trace.latency.loaded[:30].all()
    assert not trace.latency.loaded[30:].any()
    assert kinds(trace)["loaded rows"] == 30
    assert "lower under load" not in kinds(trace)


def test_round_trips_that_are_shorter_under_load_are_said(read, kinds):
    lines = [f"{i},{40 if i < 30 else 0.01},{25 if i < 30 else 30}" for i in range(100)]
    assert "lower under load" in kinds(read("t_s,rx_mbps,rtt_ms\n" + "\n".join(lines) + "\n"))


def test_loss_shares_without_counts_are_read_as_few_probes(read):
    samples = read("t_s,rtt_ms,drop_rate\n0,50,0\n1,50,0.25\n2,50,0.5\n").latency
    assert_array_equal(samples.n_probes, [4, 4, 4])
    assert_array_equal(samples.n_lost, [0, 1, 2])


def test_an_impossible_loss_is_left_out(read, kinds):
    trace = read("t_s,rtt_ms,loss_pct\n0,50,0\n1,50,140\n")
    assert kinds(trace)["impossible loss"] == 1
    assert trace.latency.n_lost.sum() == 0


def test_a_loaded_column_is_believed(read):
    samples = read("t_s,rtt_ms,loaded\n0,50,yes\n1,50,no\n").latency
    assert_array_equal(samples.loaded, [True, False])
