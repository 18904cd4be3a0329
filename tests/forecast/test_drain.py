"""When a heap is gone: closed form over cycles against taking every step by itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.drain import CycleCap, finish_days

steps_st = st.lists(st.integers(0, 20), min_size=2, max_size=8).filter(any)


def one_by_one(open_bytes, heap, arrivals, *, cap=None, n_first=None, most=3000):
    """Steps until the heap is gone, walked from event to event; inf after `most` steps."""
    n = len(open_bytes)
    n_first = n if n_first is None else n_first
    waiting = float(heap)
    used = 0.0 if cap is None else float(cap.others_bytes) * (n - n_first)
    for step in range(most):
        since = step if step < n_first else (step - n_first) % n
        if step >= n_first and since == 0:
            used = 0.0
        left = 1.0  # of this step
        while left > 1e-12:
            pace, length, spending = open_bytes[since], left, 0.0
            if cap is not None:
                if used >= cap.cap_bytes - 1e-9:
                    pace = min(pace, cap.after_bytes[0, since])
                else:
                    spending = cap.counted_factor * pace + float(cap.others_bytes)
                    if spending > 0:
                        length = min(length, (cap.cap_bytes - used) / spending)
            if pace > arrivals:
                length = min(length, waiting / (pace - arrivals))
            waiting += (arrivals - pace) * length
            used += spending * length
            left -= length
            if waiting <= 1e-9:
                return step + 1 - left
    return np.inf


@settings(deadline=None)
@given(steps_st, st.integers(1, 300), st.integers(0, 6), st.integers(1, 8))
def test_agrees_with_every_step_by_itself(open_bytes, heap, arrivals, n_first):
    n_first = min(n_first, len(open_bytes))
    days = finish_days(
        np.array([open_bytes], float), step_days=1.0, heap_bytes=np.array([float(heap)]),
        arrivals_bytes_per_day=arrivals, n_first=n_first,
    )[0]  # fmt: skip
    slow = one_by_one(open_bytes, heap, arrivals, n_first=n_first)
    if np.isinf(slow) and days > 2900:
        return
    assert days == pytest.approx(slow, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(
    steps_st, st.integers(1, 300), st.integers(5, 60), st.integers(0, 3), st.integers(0, 4),
    st.integers(1, 8),
)  # fmt: skip
def test_agrees_with_every_step_under_a_cap(open_bytes, heap, cap_bytes, others, after, n_first):
    n_first = min(n_first, len(open_bytes))
    cap = CycleCap(
        cap_bytes=float(cap_bytes), counted_factor=1.0, others_bytes=float(others),
        after_bytes=np.full((1, len(open_bytes)), float(after)),
    )  # fmt: skip
    days = finish_days(
        np.array([open_bytes], float), step_days=1.0, heap_bytes=np.array([float(heap)]),
        cap=cap, n_first=n_first,
    )[0]  # fmt: skip
    slow = one_by_one(open_bytes, heap, 0.0, cap=cap, n_first=n_first)
    if np.isinf(slow):  # the walk ends at 3000 steps, the closed form does not
        assert days > 2900
    else:  # in the step in which the cap is spent the closed form takes the mean pace
        assert slow - 1e-6 <= days <= np.ceil(slow - 1e-6) + 1e-6


@given(steps_st, st.integers(1, 500), st.integers(2, 60), st.integers(0, 3), st.integers(0, 4))
def test_twice_the_cap_never_finishes_later(open_bytes, heap, cap_bytes, others, after):
    def days(cap):
        return finish_days(
            np.array([open_bytes], float), step_days=1.0, heap_bytes=np.array([float(heap)]),
            cap=CycleCap(
                cap_bytes=float(cap), counted_factor=1.1, others_bytes=float(others),
                after_bytes=np.full((1, len(open_bytes)), float(after)),
            ),
        )[0]  # fmt: skip

    assert days(2 * cap_bytes) <= days(cap_bytes) + 1e-9


# volume arithmetic: 100 GB, 10 Mbit/s out, 2 GB a day in
def test_a_heap_that_still_grows():
    per_day = 10e6 * 86400 / 8
    days = finish_days(
        np.full((1, 24 * 30), per_day / 24), step_days=1 / 24, heap_bytes=np.array([100e9]),
        arrivals_bytes_per_day=2e9,
    )  # fmt: skip
    assert days[0] == pytest.approx(0.9434, abs=5e-5)


def test_cases_by_hand():
    ten = np.full((1, 10), 1.0)
    assert finish_days(ten, step_days=1.0, heap_bytes=np.array([25.0]))[0] == pytest.approx(25)
    grows = finish_days(ten, step_days=1.0, heap_bytes=np.array([25.0]), arrivals_bytes_per_day=1.0)
    assert grows[0] == np.inf
    # 4 of a cycle of 10 steps, then nothing: 4 + 4 + 2 -> the third cycle, second step
    cap = CycleCap(
        cap_bytes=4.0, counted_factor=1.0, others_bytes=0.0, after_bytes=np.zeros((1, 10))
    )
    stop = finish_days(ten, step_days=1.0, heap_bytes=np.array([10.0]), cap=cap)
    assert stop[0] == pytest.approx(22)
    # with 3 steps of the running cycle left: 3 + 4 + 3
    late = finish_days(ten, step_days=1.0, heap_bytes=np.array([10.0]), cap=cap, n_first=3)
    assert late[0] == pytest.approx(3 + 10 + 3)


def test_others_spend_the_cap_too():
    cap = CycleCap(
        cap_bytes=6.0, counted_factor=1.0, others_bytes=1.0, after_bytes=np.full((1, 10), 0.5)
    )
    # 2 a step in all: 3 steps at 1, then half the pace for 7: 6.5 a cycle
    assert_allclose(
        finish_days(np.full((1, 10), 1.0), step_days=1.0, heap_bytes=np.array([6.5]), cap=cap), 10
    )
    starved = CycleCap(
        cap_bytes=6.0, counted_factor=1.0, others_bytes=7.0, after_bytes=np.zeros((1, 10))
    )
    days = finish_days(
        np.full((1, 10), 1.0), step_days=1.0, heap_bytes=np.array([100.0]), cap=starved
    )
    assert days[0] > 1000  # a small part of each first day


def test_a_dead_link_never_ends():
    days = finish_days(np.zeros((2, 5)), step_days=1.0, heap_bytes=np.array([1.0, 2.0]))
    assert np.isinf(days).all()


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"n_first: expected 1 to 5 steps, got 0"):
        finish_days(np.ones((1, 5)), step_days=1.0, heap_bytes=np.array([1.0]), n_first=0)
