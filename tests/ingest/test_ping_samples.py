"""Runs to rows: what the summary knows, when probes were sent, what is only noticed."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest.ping import read_ping

HEADER = "PING cam.example (192.0.2.7) 56(84) bytes of data."


def reply(sequence, rtt_ms=20.0):
    return f"64 bytes from 192.0.2.7: icmp_seq={sequence} ttl=58 time={rtt_ms} ms"


def counts(n_sent, n_received, span_ms=""):
    return f"{n_sent} packets transmitted, {n_received} received, 0% packet loss, time {span_ms}ms"


def read(*lines, **options):
    return read_ping("\n".join(lines), "kestrel.txt", "", **options)


def kinds(notes):
    return {note.kind: note.n_samples for note in notes}


def test_missing_numbers_are_losses_and_the_summary_adds_those_after_the_last_answer():
    trace = read(HEADER, reply(1), reply(3), counts(6, 2, 5000))
    assert_array_equal(trace.latency.rtt_s, [0.02, np.inf, 0.02, np.inf, np.inf, np.inf])
    assert trace.latency.loss_frac == pytest.approx(4 / 6)
    assert not trace.latency.loaded.any()


def test_without_a_summary_what_follows_the_last_answer_is_unknown():
    trace = read(HEADER, reply(1), reply(3))
    assert_array_equal(trace.latency.rtt_s, [0.02, np.inf, 0.02])
    assert kinds(trace.findings)["run cut short"] == 1


def test_losses_before_the_first_answer_count_where_the_header_is_there():
    assert len(read(HEADER, reply(4), counts(4, 1, 3000)).latency) == 4
    assert len(read(reply(4), reply(5)).latency) == 2  # the file may begin in the middle


def test_bsd_counts_from_zero():
    header = "PING cam.example (192.0.2.7): 56 data bytes"
    trace = read(header, reply(1), "3 packets transmitted, 1 packets received, 66.7% packet loss")
    assert_array_equal(trace.latency.n_lost, [1, 0, 1])


def test_holes_that_the_summary_counts_as_answered_are_left_out():
    trace = read(HEADER, reply(1), "64 bytes from 192.0.2.7: gibberish", reply(3), counts(3, 3, 9))
    assert trace.latency.loss_frac == 0
    assert kinds(trace.repairs) == {"unreadable answer left out": 1}
    assert "the summary says 3 of 3" in trace.findings[0].text


def test_a_summary_that_counts_fewer_probes_than_the_lines_is_a_finding():
    trace = read(HEADER, reply(1), reply(2), reply(3), counts(2, 2, 1000))
    assert len(trace.latency) == 3
    assert kinds(trace.findings)["summary contradicts the lines"] == 1


def test_a_mean_that_the_lines_do_not_have_is_a_finding():
    trips = "rtt min/avg/max/mdev = 20.0/90.0/95.0/1.0 ms"
    trace = read(HEADER, reply(1), reply(2), counts(2, 2, 1000), trips)
    assert "mean contradicts the lines" in kinds(trace.findings)
    agreeing = read(HEADER, reply(1), reply(2), counts(2, 2, 1000), trips.replace("90.0", "20.0"))
    assert "mean contradicts the lines" not in kinds(agreeing.findings)


def test_duplicates_do_not_count_and_reordering_is_noticed():
    lines = [HEADER, reply(1), reply(3, 30), reply(2, 55), f"{reply(2, 99)} (DUP!)"]
    trace = read(*lines, counts(3, 3, 2000))
    assert_allclose(trace.latency.rtt_s, [0.02, 0.055, 0.03])
    assert kinds(trace.repairs) == {"duplicate reply dropped": 1}
    assert kinds(trace.findings) == {"replies out of order": 1}


def test_no_answer_yet_is_a_loss_until_the_answer_comes():
    waiting = "no answer yet for icmp_seq=1"
    assert_allclose(read(HEADER, waiting, reply(1, 1900), reply(2)).latency.rtt_s, [1.9, 0.02])
    assert_array_equal(read(HEADER, waiting, reply(2)).latency.rtt_s, [np.inf, 0.02])


def test_a_high_first_round_trip_is_kept_and_noticed():
    lines = [HEADER, reply(1, 300), *(reply(s) for s in range(2, 8))]
    trace = read(*lines)
    assert trace.latency.rtt_s[0] == 0.3
    assert kinds(trace.findings)["first round trip is high"] == 1
    assert "first round trip is high" not in kinds(read(HEADER, *lines[2:]).findings)


def test_negative_and_missing_times_are_dropped_but_are_no_losses():
    lines = [HEADER, reply(1), reply(2, -3.0), "8 bytes from 192.0.2.7: icmp_seq=3 ttl=58"]
    trace = read(*lines, counts(3, 3, 2000))
    assert_allclose(trace.latency.rtt_s, [0.02])
    assert trace.latency.loss_frac == 0
    assert kinds(trace.repairs) == {
        "negative round trip dropped": 1,
        "answer without a time dropped": 1,
    }


def test_all_lost_is_one_row_a_probe_over_the_printed_time():
    trace = read(HEADER, "", counts(145, 0, 28800))
    assert len(trace.latency) == 145
    assert np.isinf(trace.latency.rtt_s).all()
    assert_allclose(np.diff(trace.latency.time_s), 0.2)


def test_a_quiet_run_is_one_row_for_all_its_probes():
    trips = "rtt min/avg/max/mdev = 40.0/62.5/99.0/11.0 ms"
    latency = read(HEADER, counts(200, 190, 199000), trips).latency
    assert len(latency) == 1
    assert (latency.n_probes[0], latency.n_lost[0]) == (200, 10)
    assert_allclose([latency.rtt_s[0], latency.spread_s[0]], [0.0625, 0.011])


def test_more_answers_than_probes_in_a_quiet_run_are_duplicates():
    trips = "round-trip min/avg/max = 40.0/62.5/99.0 ms"
    trace = read(HEADER, "4 packets transmitted, 6 packets received, 0% packet loss", trips)
    assert trace.latency.loss_frac == 0
    assert kinds(trace.findings) == {"more answers than probes": 2}


def test_stamps_are_arrivals_and_losses_lie_between_them():
    lines = [f"[{1e9 + s + 0.5:.6f}] {reply(s, 500)}" for s in (1, 2, 5)]
    trace = read(HEADER, *lines, counts(6, 3, 5000))
    assert trace.sources[0].has_clock
    assert_allclose(trace.latency.time_s, 1e9 + np.arange(1, 7))  # sent, not answered


def test_without_stamps_times_are_spaced_and_have_no_clock():
    trace = read(HEADER, reply(1), reply(2), reply(3), counts(3, 3, 400))
    assert not trace.sources[0].has_clock
    assert_allclose(trace.latency.time_s, [0.0, 0.2, 0.4])
    assert "spacing assumed" in kinds(read(HEADER, reply(1), reply(2)).findings)


def test_local_stamps_are_moved_to_the_start_that_is_given_in_utc():
    start_s = 1782907200  # 2026-07-01 12:00 UTC; the stamps are four hours behind
    lines = [f"Start time: {start_s}000"]
    lines += [f"[2026-07-01 08:00:0{s}.020000] {reply(s)}" for s in (1, 2)]
    trace = read(lines[0], f"[2026-07-01 08:00:00.500000] {HEADER}", *lines[1:])
    assert_allclose(trace.latency.time_s, [start_s + 1, start_s + 2])
    assert kinds(trace.repairs) == {"clock zone corrected": 2}
    zoned = read(lines[0], HEADER, *lines[1:], timezone="America/New_York")
    assert_allclose(zoned.latency.time_s, [start_s + 1, start_s + 2])
    assert not zoned.repairs


def test_a_clock_that_steps_back_is_noticed():
    lines = [f"[{1e9 + t:.6f}] {reply(s)}" for s, t in ((1, 1), (2, 2), (3, -60), (4, -59))]
    assert kinds(read(HEADER, *lines).findings)["clock stepped back"] == 1


def test_a_damaged_number_cannot_fill_the_memory():
    with pytest.raises(TraceError, match="at most 5000000 probes in one run, got 999999999"):
        read(HEADER, counts(999999999, 0, 5))
