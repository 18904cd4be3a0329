"""The values that both iperf3 readers build."""

from linkfit.ingest.iperf3_run import Interval, Note, is_clock


def test_an_interval_ends_after_its_duration():
    interval = Interval(start_s=2.0, duration_s=1.5, n_bytes=1, is_up=True, is_sender=True)
    assert interval.end_s == 3.5


def test_a_note_is_what_notes_take():
    assert tuple(Note("kind", 3, "text")) == ("kind", 3, "text")


def test_a_clock_that_was_not_set():
    assert is_clock(1782907200)  # 2026
    assert not is_clock(946684800)  # 2000: a board without a battery
