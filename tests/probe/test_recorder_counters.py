import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.probe.interface import Counters
from linkfit.probe.recorder_counters import Look, what_passed

T = 1_782_000_000
BYTES = st.integers(0, 10**6)


def look(received, sent, *, at=0.0, wall=None):
    """`at` seconds after T on both clocks; `wall` where the wall clock was set."""
    counters = None if received is None else Counters(received_bytes=received, sent_bytes=sent)
    return Look(wall_s=T + 0.02 + (at if wall is None else wall), running_s=500.0 + at,
                counters=counters)  # fmt: skip


def test_a_second_is_its_bytes():
    passed = what_passed(look(100, 10), look(350, 12, at=1.0))
    assert (passed.second, passed.down_bytes, passed.up_bytes, passed.why) == (T, 250, 2, "")


def test_late_looks_keep_to_their_second_and_to_a_rate():
    late = what_passed(look(0, 0), look(1400, 0, at=1.4))
    assert (late.second, late.down_bytes) == (T, 1000)
    after = what_passed(look(1400, 0, at=1.4), look(2000, 0, at=2.0))
    assert (after.second, after.down_bytes) == (T + 1, 1000)


def test_a_wrap_at_32_bits_is_counted_through():
    passed = what_passed(look(2**32 - 300, 10), look(700, 20, at=1.0))
    assert (passed.second, passed.down_bytes, passed.up_bytes) == (T, 1000, 10)
    assert passed.why == "counter wrapped"


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ((5_000_000, 4_000_000), (700, 20)),  # both fell
        ((3_000_000_000, 10), (700, 20)),  # a wrap would be 10 Gbit/s and more
        ((2**40, 10), (700, 20)),  # counts beyond 32 bits do not wrap there
    ],
)
def test_a_reset_is_a_gap_and_what_was_counted_since_is_use(before, after):
    passed = what_passed(look(*before), look(*after, at=1.0))
    assert (passed.second, passed.down_bytes, passed.up_bytes) == (None, 700, 20)
    assert passed.why == "interface reset"


@pytest.mark.parametrize(("before", "after"), [((1, 1), (None, None)), ((None, None), (1, 1))])
def test_an_interface_that_is_gone_is_a_gap(before, after):
    passed = what_passed(look(*before), look(*after, at=1.0))
    assert (passed.second, passed.down_bytes, passed.why) == (None, 0, "interface gone")


def test_suspend_is_a_gap_whose_bytes_are_use():
    passed = what_passed(look(0, 0), look(9000, 5, at=3600.0))
    assert (passed.second, passed.down_bytes, passed.why) == (None, 9000, "not looked at")


@pytest.mark.parametrize(
    ("wall", "why"), [(3601.0, "clock set forward"), (-3599.0, "clock set back")]
)
def test_a_clock_that_is_set_is_a_gap_whose_bytes_are_use(wall, why):
    passed = what_passed(look(0, 0), look(9000, 5, at=1.0, wall=wall))
    assert (passed.second, passed.down_bytes, passed.why) == (None, 9000, why)


@pytest.mark.parametrize("after", [(10**18, 5), (-1, 5)])
def test_a_drivers_nonsense_is_a_gap_and_no_use(after):
    passed = what_passed(look(0, 0), look(*after, at=1.0))
    assert (passed.second, passed.down_bytes, passed.up_bytes) == (None, 0, 0)
    assert passed.why == "nonsense from the driver"


@given(
    st.lists(st.tuples(BYTES, BYTES, st.sampled_from([0.7, 1.0, 1.3, 4.0]))),
    st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_no_byte_is_lost_however_the_looks_fall(steps, first):
    received, sent, at = first, 5, 0.0
    before = look(received, sent)
    counted_down = counted_up = 0.0
    for down, up, took in steps:
        received, sent, at = (received + down) % 2**32, sent + up, at + took
        now = look(received, sent, at=at)
        passed = what_passed(before, now)
        scale = took if passed.second is not None else 1.0
        counted_down += passed.down_bytes * scale
        counted_up += passed.up_bytes * scale
        before = now
    slack = len(steps) + 1  # rates of a second are rounded to bytes
    assert abs(counted_down - sum(d for d, _, _ in steps)) <= slack
    assert abs(counted_up - sum(u for _, u, _ in steps)) <= slack
