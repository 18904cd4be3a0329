import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import TraceError
from linkfit.ingest.delivery import BIN_MS, PACKET_BITS, read_delivery
from linkfit.ingest.trace import LAYERS


def read(times_ms, direction="up"):
    return read_delivery("\n".join(map(str, times_ms)), "capture", "", direction=direction)


def test_repeated_lines_are_several_packets_in_that_millisecond():
    trace = read([0, 0, 0, 150, 199])
    assert_allclose(trace.throughput.bits, [3 * PACKET_BITS, 2 * PACKET_BITS])
    assert_allclose(trace.throughput.duration_s, 0.1)
    assert trace.throughput.saturating.all()
    assert (trace.throughput.layer == LAYERS.index("ip")).all()
    assert not trace.sources[0].has_clock


def test_an_outage_between_chances_is_zeros_not_a_gap():
    trace = read([0, 99, 450, 499])
    assert_allclose(trace.throughput.bits / PACKET_BITS, [2, 0, 0, 0, 2])


def test_a_late_start_is_no_outage():
    trace = read([637, 700, 736])
    assert trace.throughput.start_s[0] == 0.637
    assert trace.findings[0].kind == "late start"


@given(st.lists(st.integers(0, 5000), min_size=2, max_size=60))
def test_packets_are_counted_as_a_slow_count_would(times_ms):
    trace = read(times_ms)
    times_ms = np.sort(times_ms) - min(times_ms)
    n_full = max(1, (int(times_ms[-1]) + 1) // BIN_MS)
    slow = [sum(b * BIN_MS <= t < (b + 1) * BIN_MS for t in times_ms) for b in range(n_full)]
    assert_allclose(trace.throughput.bits, np.array(slow) * PACKET_BITS)


def test_lines_out_of_order_are_sorted_and_counted():
    trace = read([0, 30, 20, 199])
    assert [(r.kind, r.n_samples) for r in trace.repairs] == [("rows out of order", 1)]
    assert trace.throughput.bits.sum() == 4 * PACKET_BITS


def test_every_damaged_line_is_named():
    with pytest.raises(TraceError, match=r"(?s)capture:2:1: expected a whole .*got 'x'.*:4:1:.*-3"):
        read([0, "x", 5, -3])


def test_a_damaged_number_does_not_ask_for_a_terabyte():
    with pytest.raises(TraceError, match="within 30 days, got a last line 999,999,999,998 ms"):
        read([1, 999_999_999_999])


def test_blank_lines_only_are_no_capture():
    with pytest.raises(TraceError, match="got blank lines only"):
        read(["", ""])


@pytest.mark.shared
@pytest.mark.parametrize("name", ["lte-a-driving", "umts-b-driving", "lte-c-short"])
def test_real_captures_keep_their_packets_and_outages(shared_traces, name):
    for way in ("up", "down"):
        text = (shared_traces / "delivery" / f"{name}.{way}").read_text()
        times_ms = np.array(text.split(), dtype=int)
        trace = read_delivery(text, name, "", direction=way)
        n_packets = trace.throughput.bits.sum() / PACKET_BITS
        in_last_bin = (times_ms - times_ms[0]) // BIN_MS == len(trace.throughput)
        assert n_packets == times_ms.size - in_last_bin.sum()
        longest_outage_ms = np.diff(times_ms).max()
        zeros = trace.throughput.bits == 0
        runs = np.diff(np.flatnonzero(np.concatenate(([True], ~zeros, [True])))) - 1
        assert abs(runs.max() * BIN_MS - longest_outage_ms) < 2 * BIN_MS
