"""A ping run while it is gathered: numbers beyond 16 bits, restarts, what ends it."""

from hypothesis import given
from hypothesis import strategies as st

from linkfit.ingest.ping_lines import Line
from linkfit.ingest.ping_run import PingRun


def reply(sequence, **more):
    return Line(kind="reply", sequence=sequence, rtt_s=0.05, **more)


def gathered(*lines):
    run = PingRun()
    for line in lines:
        run.add(line)
    return run


def test_numbers_go_on_beyond_sixteen_bits():
    run = gathered(*(reply(s % 65536) for s in (65534, 65535, 65536, 65537)))
    assert list(run.sequences) == [65534, 65535, 65536, 65537]


def test_a_late_answer_from_before_the_wrap_keeps_its_number():
    run = gathered(*(reply(s % 65536) for s in (65535, 65537, 65536 - 2)))
    assert list(run.sequences) == [65535, 65537, 65534]


@given(st.integers(0, 65535), st.lists(st.integers(1, 30_000), min_size=1, max_size=30))
def test_unwrapping_inverts_the_sixteen_bits(first, steps):
    true = [first]
    for step in steps:
        true.append(true[-1] + step)
    assert list(gathered(*(reply(s % 65536) for s in true)).sequences) == true


def test_a_count_that_starts_anew_ends_a_run_without_headers():
    run = gathered(*(reply(s) for s in range(1, 9)))
    assert run.ends_before(reply(1))


def test_a_first_answer_that_comes_late_or_twice_does_not_end_it():
    assert not gathered(*(reply(s) for s in range(2, 40))).ends_before(reply(1))
    run = gathered(*(reply(s) for s in range(1, 9)))
    assert not run.ends_before(reply(1, is_marked_duplicate=True))


def test_after_the_summary_a_probe_begins_a_new_run_but_the_mean_does_not():
    run = gathered(reply(1), Line(kind="counts", n_sent=1, n_received=1))
    assert run.ends_before(reply(2))
    assert run.ends_before(Line(kind="counts"))
    assert not run.ends_before(Line(kind="round trips"))


def test_windows_lines_without_numbers_are_counted():
    lost = Line(kind="other", text="Request timed out.")
    windows = Line(kind="reply", rtt_s=0.01, is_windows=True)
    run = gathered(windows, lost, windows)
    assert list(run.sequences) == [0, 2]
    assert list(run.unanswered) == [1]
    assert run.takes_losses
