import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest.rows import truth
from linkfit.ingest.trace import TRANSPORTS


def table(header, *lines):
    return "\n".join([header, *lines]) + "\n"


def seconds(n, template):
    return [template.format(i=i, clock=f"2026-01-01T00:00:{i:02d}Z") for i in range(n)]


def test_an_empty_cell_is_not_measured_and_zero_is_an_outage(read, kinds):
    trace = read(table("time,upload_bps", *seconds(3, "{clock},100"), "2026-01-01T00:00:03Z,",
                       "2026-01-01T00:00:04Z,0"))  # fmt: skip
    assert_allclose(trace.throughput.rates_bps, [100, 100, 100, 0])
    assert kinds(trace)["not measured: upload_bps"] == 1
    assert kinds(trace)["zero rate: upload_bps"] == 1


def test_both_directions_of_a_row_become_two_samples(read):
    trace = read(table("time,down_mbps,up_mbps", *seconds(4, "{clock},50,{i}")))
    samples = trace.throughput
    assert_array_equal(samples.is_up, [False] * 4 + [True] * 4)
    assert_allclose(samples.rates_bps, [5e7] * 4 + [0, 1e6, 2e6, 3e6])


def test_start_and_end_columns_give_the_length(read):
    trace = read(table("start,end,rate_bps", "0,10,100", "10,15,200"), direction="down")
    assert_allclose(trace.throughput.duration_s, [10, 5])
    assert_allclose(trace.throughput.bits, [1000, 1000])


def test_a_duration_column_and_no_times_make_rows_follow_each_other(read):
    trace = read(table("duration_s,rate_bps", "2,100", "3,100"), direction="down")
    assert_allclose(trace.throughput.start_s, [0, 2])


def test_bytes_of_each_row_become_rates(read):
    trace = read(table("time,sent_bytes", *seconds(3, "{clock},125")))
    assert_allclose(trace.throughput.rates_bps, [1000, 1000, 1000])


def test_rows_far_apart_are_single_tests_of_the_usual_length(read, kinds):
    lines = [f"2026-01-01T{h:02d}:00:00Z,50,5,33" for h in range(5)]
    trace = read(table("time,down_mbps,up_mbps,ping_ms", *lines))
    assert_allclose(trace.throughput.duration_s, 10.0)
    assert kinds(trace)["length taken"] == 1
    assert not trace.latency.loaded.any()  # measured before the test, on an idle link


def test_the_length_of_a_row_can_be_said(read):
    trace = read(table("rate_bps", "100", "200"), direction="up", step_s=2.0)
    assert_allclose(trace.throughput.start_s, [0, 2])
    with pytest.raises(TraceError, match="expected a time column or the length of a row"):
        read(table("rate_bps", "100", "200"), direction="up")


def test_impossible_rates_are_left_out_and_counted(read, kinds):
    trace = read(table("t_s,up_bps", "0,5", "1,-5", "2,inf", "3,1e13", "4,7"))
    assert_allclose(trace.throughput.rates_bps, [5, 7])
    assert kinds(trace)["negative rate"] == 1
    assert kinds(trace)["impossible rate"] == 2


def test_a_direction_column_speaks_for_each_row(read):
    trace = read(table("t_s,direction,rate_bps", "0,up,5", "1,down,6", "2,Upload,7"))
    assert_allclose(trace.throughput.rates_bps, [6, 5, 7])
    assert_array_equal(trace.throughput.is_up, [False, True, True])
    with pytest.raises(TraceError, match=r"expected up or down in each row, got 'left' in 1 rows"):
        read(table("t_s,direction,rate_bps", "0,up,5", "1,left,6"))


def test_transport_streams_and_saturation_of_each_row(read):
    trace = read(table("t_s,up_bps,transport,streams,saturating", "0,5,TCP,4,yes", "1,6,udp,1,no"))
    samples = trace.throughput
    assert [TRANSPORTS[i] for i in samples.transport] == ["tcp", "udp"]
    assert_array_equal(samples.n_streams, [4, 1])
    assert_array_equal(samples.saturating, [True, False])


def test_what_the_caller_says_goes_before_what_is_guessed(read):
    trace = read(table("t_s,tx_bps", "0,5", "1,6"), saturating=True, transport="tcp")
    assert trace.throughput.saturating.all()
    passive = read(table("t_s,tx_bps", "0,5", "1,6"))
    assert not passive.throughput.saturating.any()
    assert TRANSPORTS[passive.throughput.transport[0]] == "passive"


def test_transfers_without_size_or_time_are_left_out(read, kinds):
    trace = read(
        table("size_kB,duration_s", "100,1", ",1", "0,1", "100,0", "300,2"), direction="up"
    )
    assert_allclose(trace.transfers.size_bytes, [1e5, 3e5])
    assert_allclose(trace.transfers.start_s[0], 0.0)
    assert kinds(trace)["not measured"] == 1
    assert kinds(trace)["impossible transfer"] == 2


def test_yes_has_several_words():
    cells = pd.Series(["yes", "TRUE", "1", "no", "0", None], dtype="str")
    assert_array_equal(truth(cells), np.array([1, 1, 1, 0, 0, 0], dtype=bool))
