"""When heaps are gone: cycles by division against taking every event by itself."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.drain import CycleCap, drain

steps_st = st.lists(st.integers(0, 20), min_size=2, max_size=8).filter(any)


def steady(open_bytes, after=None):
    """Paces of heaps that do not meet: shape (1, k, t) whatever has ended."""
    before = np.atleast_3d(np.array(open_bytes, float)).reshape(1, -1, len(open_bytes[-1]))
    late = None if after is None else np.full(before.shape, float(after))
    return lambda done, season: (before * (1 - np.array(done, float))[None, :, None], late)


def steps_of(paces, heaps, *, n_steps, arrivals=0.0, **options):
    heap = np.array([heaps], float)
    joins = np.broadcast_to(np.asarray(arrivals, float), heap.shape[1])
    return drain(paces, heap_bytes=heap, arrivals_bytes=joins, n_steps=n_steps, **options).steps[0]


def a_cap(cap_bytes, others=0.0, factor=(1.0,)):
    return CycleCap(
        cap_bytes=np.array([float(cap_bytes)]), counted_factor=np.array([factor]),
        others_bytes=np.array([float(others)]),
    )  # fmt: skip


def one_by_one(open_bytes, heap, arrivals, *, cap=None, others=0.0, after=0.0, n_first=None,
               most=3000):  # fmt: skip
    """Steps until the heap is gone, walked from event to event; inf after `most` steps."""
    n = len(open_bytes)
    n_first = n if n_first is None else n_first
    waiting = float(heap)
    used = others * (n - n_first)
    for step in range(most):
        since = step if step < n_first else (step - n_first) % n
        if step >= n_first and since == 0:
            used = 0.0
        left = 1.0  # of this step
        while left > 1e-12:
            pace, length, spending = open_bytes[since], left, 0.0
            if cap is not None:
                if used >= cap - 1e-9:
                    pace = min(pace, after)
                else:
                    spending = pace + others
                    if spending > 0:
                        length = min(length, (cap - used) / spending)
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
    steps = steps_of(steady([open_bytes]), [heap], n_steps=len(open_bytes), arrivals=arrivals,
                     n_first=n_first)[0]  # fmt: skip
    slow = one_by_one(open_bytes, heap, arrivals, n_first=n_first)
    if np.isinf(slow) and steps > 2900:
        return
    assert steps == pytest.approx(slow, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(
    steps_st, st.integers(1, 300), st.integers(5, 60), st.integers(0, 3), st.integers(0, 4),
    st.integers(1, 8),
)  # fmt: skip
def test_agrees_with_every_step_under_a_cap(open_bytes, heap, cap, others, after, n_first):
    n_first = min(n_first, len(open_bytes))
    steps = steps_of(steady([open_bytes], after), [heap], n_steps=len(open_bytes),
                     cap=a_cap(cap, others), n_first=n_first)[0]  # fmt: skip
    slow = one_by_one(open_bytes, heap, 0.0, cap=cap, others=others, after=after, n_first=n_first)
    if np.isinf(slow):  # the walk ends at 3000 steps, the division does not
        assert steps > 2900
    else:
        assert steps == pytest.approx(slow, abs=1e-6)


def shared(open_bytes, n_heaps, order):
    """Paces of heaps that share: by `order` one after the other, or (None) equally."""
    total = np.array(open_bytes, float)

    def paces(done, season):
        moved = np.zeros((1, n_heaps, total.size))
        waits = [k for k in range(n_heaps) if not done[k]]
        if order is None:
            moved[0, waits] = total / max(len(waits), 1)
        else:
            first = [k for k in order if k in waits][:1]
            moved[0, first] = total
        return moved, None

    return paces


def together_one_by_one(open_bytes, heaps, order, cap, n_first, most=2000):
    """Each heap's end, walked from event to event."""
    n = len(open_bytes)
    left, ends, used = list(map(float, heaps)), [np.inf] * len(heaps), 0.0
    for step in range(most):
        since = step if step < n_first else (step - n_first) % n
        if step >= n_first and since == 0:
            used = 0.0
        rest = 1.0
        while rest > 1e-12:
            waits = [k for k, end in enumerate(ends) if np.isinf(end)]
            if not waits:
                return ends
            movers = waits if order is None else [k for k in order if k in waits][:1]
            total = open_bytes[since] if used < cap - 1e-9 else 0.0
            pace = total / len(movers)
            length = rest
            if total > 0:
                length = min(length, (cap - used) / total, *(left[k] / pace for k in movers))
            for k in movers:
                left[k] -= pace * length
            used += total * length
            rest -= length
            for k in movers:
                if left[k] <= 1e-9:
                    ends[k] = step + 1 - rest
    return ends


@settings(deadline=None, max_examples=60)
@example(
    open_bytes=[0, 1, 0], heaps=[1, 1, 1], equal=True, cap=np.inf, n_first=2
)  # thirds, which no float holds
@given(
    steps_st, st.lists(st.integers(1, 150), min_size=2, max_size=3), st.booleans(),
    st.sampled_from([np.inf, 17.0, 40.0]), st.integers(1, 8),
)  # fmt: skip
def test_several_heaps_agree_with_walking_from_event_to_event(
    open_bytes, heaps, equal, cap, n_first
):
    n_first = min(n_first, len(open_bytes))
    order = None if equal else list(range(len(heaps)))[::-1]
    found = steps_of(
        shared(open_bytes, len(heaps), order), heaps, n_steps=len(open_bytes), n_first=n_first,
        cap=None if np.isinf(cap) else a_cap(cap, factor=[1.0] * len(heaps)),
    )  # fmt: skip
    slow = together_one_by_one(open_bytes, heaps, order, cap, n_first)
    ended = np.isfinite(slow)
    assert_allclose(found[ended], np.array(slow)[ended], atol=1e-6)
    assert (found[~ended] > 1900).all()


@given(steps_st, st.integers(1, 500), st.integers(2, 60), st.integers(0, 3), st.integers(0, 4))
def test_twice_the_cap_never_finishes_later(open_bytes, heap, cap_bytes, others, after):
    def steps(cap):
        return steps_of(steady([open_bytes], after), [heap], n_steps=len(open_bytes),
                        cap=a_cap(cap, others, (1.1,)))[0]  # fmt: skip

    assert steps(2 * cap_bytes) <= steps(cap_bytes) + 1e-6


# volume arithmetic: 100 GB, 10 Mbit/s out, 2 GB a day in
def test_a_heap_that_still_grows():
    per_day = 10e6 * 86400 / 8
    steps = steps_of(steady([[per_day / 24] * 720]), [100e9], n_steps=720, arrivals=2e9 / 24)
    assert steps[0] / 24 == pytest.approx(0.9434, abs=5e-5)


def test_cases_by_hand():
    ten = [[1.0] * 10]
    assert steps_of(steady(ten), [25], n_steps=10) == pytest.approx(25)
    assert steps_of(steady(ten), [25], n_steps=10, arrivals=1.0) == np.inf
    # 4 of a cycle of 10 steps, then nothing: 4 + 4 + 2 -> the third cycle, second step
    assert steps_of(steady(ten), [10], n_steps=10, cap=a_cap(4)) == pytest.approx(22)
    # with 3 steps of the running cycle left: 3 + 4 + 3
    late = steps_of(steady(ten), [10], n_steps=10, cap=a_cap(4), n_first=3)
    assert late == pytest.approx(3 + 10 + 3)
    # two that share equally, then the larger alone: 2 x 10, then 5 more
    both = steps_of(shared([1.0] * 10, 2, None), [10, 15], n_steps=10)
    assert both == pytest.approx([20, 25])
    # one after the other
    assert steps_of(shared([1.0] * 10, 2, [1, 0]), [10, 15], n_steps=10) == pytest.approx([25, 15])


def test_others_spend_the_cap_too():
    # 2 a step in all: 3 steps at 1, then half the pace for 7: 6.5 a cycle
    ten = [[1.0] * 10]
    assert_allclose(steps_of(steady(ten, 0.5), [6.5], n_steps=10, cap=a_cap(6, 1)), 10)
    # a small part of each first step is left
    assert steps_of(steady(ten), [100], n_steps=10, cap=a_cap(6, 7)) > 1000


def test_ends_say_in_which_cycle_they_lie():
    heap = np.array([[4.0], [13.0]])
    one = np.ones((2, 1, 10))
    ends = drain(lambda *_: (one, None), heap_bytes=heap, arrivals_bytes=np.zeros(1), n_steps=10,
                 n_first=5)  # fmt: skip
    assert_allclose(ends.cycle_number[:, 0], [0, 1])
    assert_allclose(ends.step[:, 0], [4, 8])
    assert_allclose(ends.steps[:, 0], [4, 13])


def test_a_dead_link_never_ends():
    dead = drain(lambda *_: (np.zeros((2, 1, 5)), None), heap_bytes=np.array([[1.0], [2.0]]),
                 arrivals_bytes=np.zeros(1), n_steps=5)  # fmt: skip
    assert np.isinf(dead.steps).all()


@given(st.permutations(range(3)))
def test_the_order_of_the_list_does_not_matter(order):
    heaps = np.array([30.0, 7.0, 12.0])
    straight = steps_of(shared([1.0, 3.0], 3, None), heaps, n_steps=2)
    turned = steps_of(shared([1.0, 3.0], 3, None), heaps[list(order)], n_steps=2)
    assert_allclose(turned, straight[list(order)])


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"n_first: expected 1 to 5 steps, got 0"):
        steps_of(steady([[1.0] * 5]), [1.0], n_steps=5, n_first=0)


def test_a_heap_that_never_ends_does_not_hold_up_another():
    ends = steps_of(steady([[2.0] * 4, [1.0] * 4]), [10, 10], n_steps=4, arrivals=[0.0, 1.0])
    assert ends.tolist() == [pytest.approx(5), np.inf]


def test_the_first_cycles_may_differ():
    """Seasons of 1, 2 and then 5 a step, ten steps each: 10 + 20 + 50 + 50 ..."""

    def paces(done, season):
        return np.full((1, 1, 10), [1.0, 2.0, 5.0][season]), None

    for heap, expected in ((8, 8), (14, 12), (30, 20), (55, 25), (230, 60), (231, 60.2)):
        found = steps_of(paces, [heap], n_steps=10, n_seasons=3)
        assert found[0] == pytest.approx(expected), heap
