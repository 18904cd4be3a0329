"""iperf3 intervals to bins: what is left out, joined, scaled, and that no byte is invented."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.ingest.iperf3_bins import SHORTEST_BIN_S, cleaned, throughput_bins
from linkfit.ingest.iperf3_run import Interval, Run, Totals
from linkfit.ingest.notes import Notes


def intervals(n_bytes, step_s=1.0, *, is_sender=True, **more):
    more = {"is_up": True, "is_sender": is_sender, **more}
    return [
        Interval(start_s=i * step_s, duration_s=step_s, n_bytes=n, **more)
        for i, n in enumerate(n_bytes)
    ]


def bins_of(near, *, transport="tcp", far=(), **totals):
    notes = Notes("test")
    run = Run(format="iperf3 JSON", transport=transport, intervals=tuple(near))
    found = throughput_bins(run, near, list(far), Totals(is_up=True, **totals), notes)
    return found, {r.kind: r.n_samples for r in (*notes.repairs, *notes.findings)}


def test_the_first_second_of_tcp_is_dropped_and_counted():
    bins, notes = bins_of(intervals([10, 100, 90]))
    assert [b.n_bytes for b in bins] == [100, 90]
    assert notes == {"first second dropped": 1}


def test_udp_has_no_slow_start():
    bins, notes = bins_of(intervals([10, 100], is_sender=False), transport="udp")
    assert [b.n_bytes for b in bins] == [10, 100]
    assert notes == {}


def test_the_only_or_a_long_first_interval_is_kept():
    assert bins_of(intervals([100]))[1] == {"slow start included": 1}
    bins, notes = bins_of(intervals([1000, 900], step_s=10.0))
    assert len(bins) == 2
    assert notes == {"slow start included": 1}


def test_after_omitted_intervals_the_clock_is_moved_and_nothing_more_is_dropped():
    omitted = intervals([50, 60], is_omitted=True)
    run = Run(format="iperf3 JSON", transport="tcp", intervals=(*omitted, *intervals([100, 90])))
    notes = Notes("test")
    kept = cleaned(list(run.intervals), notes)
    bins = throughput_bins(run, kept, [], Totals(is_up=True), notes)
    assert [(b.start_s, b.n_bytes) for b in bins] == [(2.0, 100), (3.0, 90)]
    assert [(r.kind, r.n_samples) for r in notes.repairs] == [("omitted interval left out", 2)]


def test_an_interval_printed_twice_counts_once():
    notes = Notes("test")
    once = intervals([1, 2, 3])
    assert cleaned([*once, once[-1]], notes) == once
    assert [(r.kind, r.n_samples) for r in notes.repairs] == [("interval printed twice", 1)]


def test_intervals_below_a_second_are_write_granularity_and_are_joined():
    bins, notes = bins_of(intervals([131072, 0] * 15, step_s=0.1))
    assert [b.n_bytes for b in bins] == [5 * 131072, 5 * 131072]
    assert notes == {"short intervals joined": 30, "first second dropped": 1}


def test_a_short_last_interval_joins_the_one_before():
    near = [*intervals([10, 100, 100]), Interval(
        start_s=3.0, duration_s=0.046, n_bytes=4, is_up=True, is_sender=True)]  # fmt: skip
    bins, _ = bins_of(near)
    assert [b.n_bytes for b in bins] == [100, 104]
    assert bins[-1].duration_s == pytest.approx(1.046)


def test_a_sender_that_only_filled_its_buffer_gives_no_sample():
    """`-n 10K` on a fast machine: 128 KiB written in 0.3 ms would read as 3 Gbit/s."""
    bins, notes = bins_of(intervals([131072], step_s=0.000321))
    assert bins == []
    assert notes == {"short test left out": 1}


def test_a_short_test_with_a_receiver_count_is_a_lower_bound():
    bins, notes = bins_of(intervals([131072], step_s=0.2), received_bytes=9000, received_s=0.3)
    assert [(b.n_bytes, b.duration_s, b.is_short) for b in bins] == [(9000, 0.3, True)]
    assert notes == {"test too short": 1}


def test_one_interval_of_a_sender_gives_way_to_the_receivers_total():
    bins, _ = bins_of(intervals([2097152], step_s=1.58), received_bytes=1966080, received_s=1.5886)
    assert [(b.n_bytes, b.duration_s) for b in bins] == [(1966080, 1.5886)]


def test_the_receivers_own_intervals_win_over_the_senders():
    far = intervals([5, 70, 80], is_sender=False)
    bins, _ = bins_of(intervals([10, 100, 90]), far=far)
    assert [b.n_bytes for b in bins] == [70, 80]


def test_without_intervals_the_receivers_total_is_the_sample():
    bins, _ = bins_of([], received_bytes=5e6, received_s=10.0)
    assert [(b.n_bytes, b.duration_s) for b in bins] == [(5e6, 10.0)]
    assert bins_of([]) == ([], {})


def test_a_udp_sender_counts_what_it_sent_so_small_losses_scale_it():
    near = intervals([1000, 1000])
    bins, notes = bins_of(near, transport="udp", sent_bytes=2000, received_bytes=1960)
    assert [b.n_bytes for b in bins] == pytest.approx([980, 980])
    assert notes == {"sent bytes scaled to what arrived": 2}
    assert not any(b.is_overrun for b in bins)


def test_a_udp_sender_that_overran_the_link_gives_the_receivers_total():
    near = intervals([1000, 1000])
    bins, notes = bins_of(
        near, transport="udp", sent_bytes=2000, received_bytes=1200, received_s=2.1
    )
    assert [(b.n_bytes, b.duration_s, b.is_overrun) for b in bins] == [(1200, 2.1, True)]
    assert notes == {"sender intervals replaced": 2}


def test_a_udp_sender_of_which_all_was_lost_carried_nothing():
    totals = {"sent_bytes": 2000, "received_bytes": 0, "n_datagrams": 20, "n_lost": 20}
    bins, _ = bins_of(intervals([1000, 1000]), transport="udp", **totals)
    assert [(b.n_bytes, b.is_overrun) for b in bins] == [(0, True)]


def test_a_udp_sender_without_a_receivers_count_is_said_to_be_one():
    bins, notes = bins_of(intervals([1000, 1000]), transport="udp")
    assert [b.n_bytes for b in bins] == [1000, 1000]
    assert notes == {"arrival not known": 2}


def test_a_udp_receiver_tells_interval_by_interval_whether_it_was_overrun():
    near = intervals([1000], is_sender=False, n_datagrams=100, n_lost=20)
    assert [b.is_overrun for b in bins_of(near, transport="udp")[0]] == [True]


@pytest.mark.parametrize("piece", [{"n_bytes": 1e300}, {"duration_s": 1e300}, {"start_s": 1e300}])
def test_damaged_numbers_are_left_out_and_counted(piece):
    notes = Notes("test")
    good = intervals([1, 2])
    assert cleaned([*good, replace(good[0], **{"start_s": 2.0, **piece})], notes) == good
    assert [(r.kind, r.n_samples) for r in notes.repairs] == [("impossible rate", 1)]


@given(
    st.lists(st.tuples(st.floats(0.01, 3.0), st.integers(0, 10**8)), min_size=1, max_size=60),
)
def test_joining_loses_no_byte_and_no_time(pieces):
    near, at_s = [], 0.0
    for duration_s, n_bytes in pieces:
        near.append(
            Interval(start_s=at_s, duration_s=duration_s, n_bytes=n_bytes, is_up=True,
                     is_sender=False)
        )  # fmt: skip
        at_s += duration_s
    bins, _ = bins_of(near, transport="udp")
    assert sum(b.n_bytes for b in bins) == sum(n for _, n in pieces)
    assert math.isclose(sum(b.duration_s for b in bins), at_s)
    if len(bins) > 1:
        assert min(b.duration_s for b in bins) >= SHORTEST_BIN_S
