"""A whole iperf3 test to a Trace: clock, directions, round trips."""

from dataclasses import replace

from numpy.testing import assert_allclose, assert_array_equal

from linkfit.ingest.iperf3_run import Interval, Note, Run, Totals
from linkfit.ingest.iperf3_samples import run_to_trace
from linkfit.ingest.trace import LAYERS, TRANSPORTS, Source

SOURCE = Source(name="a.json", format="iperf3 JSON")


def interval(start_s, n_bytes=1e6, **more):
    more = {"is_up": True, "is_sender": True, **more}
    return Interval(start_s=start_s, duration_s=1.0, n_bytes=n_bytes, **more)


RUN = Run(
    format="iperf3 JSON", transport="tcp", target_bps=0.0, started_s=1.7e9,
    intervals=tuple(interval(s, rtt_s=0.05 + 0.01 * s, n_streams=4) for s in range(3)),
)  # fmt: skip


def test_samples_carry_clock_layer_and_streams():
    throughput = run_to_trace(RUN, SOURCE).throughput
    assert_array_equal(throughput.start_s, [1.7e9 + 1, 1.7e9 + 2])
    assert_array_equal(throughput.bits, [8e6, 8e6])
    assert_array_equal(throughput.n_streams, [4, 4])
    assert_array_equal(throughput.layer, [LAYERS.index("goodput")] * 2)
    assert_array_equal(throughput.transport, [TRANSPORTS.index("tcp")] * 2)
    assert throughput.saturating.all()


def test_round_trips_are_loaded_and_one_a_bin():
    latency = run_to_trace(RUN, SOURCE).latency
    assert_allclose(latency.rtt_s, [0.06, 0.07])
    assert_array_equal(latency.time_s, [1.7e9 + 2, 1.7e9 + 3])
    assert latency.loaded.all()


def test_the_mean_round_trip_of_a_far_sender_stands_in():
    down = [interval(s, is_up=False, is_sender=False) for s in range(3)]
    run = replace(RUN, intervals=tuple(down), totals=(Totals(is_up=False, rtt_s=0.08),))
    assert_allclose(run_to_trace(run, SOURCE).latency.rtt_s, [0.08])


def test_a_tiny_transfer_leaves_its_round_trip():
    tiny = replace(interval(0.0, rtt_s=0.04), duration_s=0.001)
    trace = run_to_trace(replace(RUN, intervals=(tiny,)), SOURCE)
    assert len(trace.throughput) == 0
    assert_allclose(trace.latency.rtt_s, [0.04])


def test_both_directions_of_a_two_way_test():
    down = tuple(interval(s, n_bytes=2e6, is_up=False, is_sender=False) for s in range(3))
    throughput = run_to_trace(replace(RUN, intervals=RUN.intervals + down), SOURCE).throughput
    assert_array_equal(throughput.is_up, [True, True, False, False])
    assert_array_equal(throughput.bits, [8e6, 8e6, 16e6, 16e6])


def test_notes_of_the_reader_and_an_early_end_are_passed_on():
    run = replace(RUN, repairs=(Note("report cut short", 3, "cut"),), error="the server is gone")
    trace = run_to_trace(run, SOURCE)
    assert [r.kind for r in trace.repairs] == ["report cut short", "first second dropped"]
    assert trace.findings[-1].text == "iperf3 said 'the server is gone'"
