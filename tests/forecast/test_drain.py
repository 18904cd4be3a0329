"""When heaps are gone: cycles by division against taking every event by itself."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.drain import CycleCap, Cycles, drain

steps_st = st.lists(st.integers(0, 20), min_size=2, max_size=8).filter(any)


def steady(open_bytes, after=None):
    """Paces of heaps that do not meet: shape (1, k, t) whatever has ended."""
    before = np.atleast_3d(np.array(open_bytes, float)).reshape(1, -1, len(open_bytes[-1]))
    late = None if after is None else np.full(before.shape, float(after))
    return lambda done, kind: (before * (1 - np.array(done, float))[None, :, None], late)


def steps_of(paces, heaps, *, n_steps, n_first=None, arrivals=0.0, cycles=None, cap=None):
    """Cycles of `n_steps`, of the first of which `n_first` are left; `paces` are those of any."""
    n_first = n_first or n_steps
    cycles = cycles or Cycles(n_first=n_first, then=(n_steps,), n_before=n_steps - n_first)
    heap = np.array([heaps], float)
    joins = np.broadcast_to(np.asarray(arrivals, float), heap.shape[1])

    def cut(done, kind):
        n_end = cycles.lengths[kind]
        return tuple(None if pace is None else pace[:, :, :n_end] for pace in paces(done, kind))

    caps = None if cap is None else [cap] * len(cycles.lengths)
    return drain(cut, heap_bytes=heap, arrivals_bytes=joins, cycles=cycles, caps=caps).steps[0]


def a_cap(cap_bytes, others=0.0, factor=(1.0,), **options):
    return CycleCap(
        cap_bytes=np.array([float(cap_bytes)]), counted_factor=np.array([factor]),
        others_bytes=np.array([float(others)]), **options,
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

    def paces(done, kind):
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
    cycles = Cycles(n_first=5, then=(10,), n_before=5)
    ends = drain(lambda _, kind: (one[:, :, : cycles.lengths[kind]], None), heap_bytes=heap,
                 arrivals_bytes=np.zeros(1), cycles=cycles)  # fmt: skip
    assert_allclose(ends.cycle_number[:, 0], [0, 1])
    assert_allclose(ends.step[:, 0], [4, 8])
    assert_allclose(ends.steps[:, 0], [4, 13])


def test_a_dead_link_never_ends():
    dead = drain(lambda *_: (np.zeros((2, 1, 5)), None), heap_bytes=np.array([[1.0], [2.0]]),
                 arrivals_bytes=np.zeros(1), cycles=Cycles(n_first=5, then=(5,)))  # fmt: skip
    assert np.isinf(dead.steps).all()


@given(st.permutations(range(3)))
def test_the_order_of_the_list_does_not_matter(order):
    heaps = np.array([30.0, 7.0, 12.0])
    straight = steps_of(shared([1.0, 3.0], 3, None), heaps, n_steps=2)
    turned = steps_of(shared([1.0, 3.0], 3, None), heaps[list(order)], n_steps=2)
    assert_allclose(turned, straight[list(order)])


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"n_first: expected at least 1 step, got 0"):
        Cycles(n_first=0, then=(5,))
    with pytest.raises(InputError, match=r"then: expected at least 1 step, got -1"):
        Cycles(n_first=2, then=(5, -1))
    with pytest.raises(InputError, match=r"then: expected the steps of at least 1 cycle, got none"):
        Cycles(n_first=2, then=())


def test_a_heap_that_never_ends_does_not_hold_up_another():
    ends = steps_of(steady([[2.0] * 4, [1.0] * 4]), [10, 10], n_steps=4, arrivals=[0.0, 1.0])
    assert ends.tolist() == [pytest.approx(5), np.inf]


def test_the_first_cycle_may_differ_and_the_others_come_round():
    """10 steps at 1, then 10 at 2, 10 at 5, 10 at 2 ...: 10, 30, 80, 100, 150, 170, 220 ..."""
    cycles = Cycles(n_first=10, then=(10, 10))

    def paces(done, kind):
        return np.full((1, 1, 10), [1.0, 2.0, 5.0][kind]), None

    for heap, expected in (
        (8, 8),
        (14, 12),
        (30, 20),
        (55, 25),
        (80, 30),
        (225, 72.5),
        (711, 210.5),
    ):
        found = steps_of(paces, [heap], n_steps=10, cycles=cycles)
        assert found[0] == pytest.approx(expected), heap


def counted(sent, sessions):
    return sessions / -math.expm1(-sessions / max(sent, 1e-9)) if sessions else sent


def usable(room, sessions):
    """What is sent when `room` is counted, by bisection."""
    low, high = 0.0, room
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if counted(middle, sessions) <= room else (low, middle)
    return low


def a_step(moves, after, others, waiting, sent, room):
    """One step walked from event to event: what waits, what is sent, and what is left of it."""
    left = 1.0
    while left > 1e-12 and waiting > 1e-9:
        pace, length, spending = moves, left, 0.0
        if sent >= room - 1e-9:
            pace = min(pace, after)
        else:
            spending = pace + others
            length = min(length, (room - sent) / spending) if spending > 0 else length
        length = min(length, waiting / pace) if pace > 0 else length
        waiting -= pace * length
        sent += spending * length
        left -= length
    return waiting, sent, left


def rolling(open_bytes, heap, cycles, *, cap, others, after, carry_over, rounded, used):
    """Steps until the heap is gone, through cycles that differ in length, with a plan that keeps
    the others' data aside where it stops, carries over and rounds up.
    """
    lengths = [cycles.n_before + cycles.n_first, *(cycles.then * 400)]
    aside = 0.0 if after else others  # in a step
    kept = min(max(cap - counted(others * lengths[0], rounded * lengths[0]), 0.0), carry_over)
    waiting, clock = float(heap), 0.0
    for number, n_steps in enumerate(lengths):
        begin = 0 if number else cycles.n_before
        sent = others * begin if number or used is None else usable(used, rounded * begin)
        sent += aside * (n_steps - begin)
        for step in range(n_steps - begin):
            waiting, sent, left = a_step(open_bytes[step], after, others - aside, waiting, sent,
                                         usable(cap + kept, rounded * n_steps))  # fmt: skip
            if waiting <= 1e-9:
                return clock + step + 1 - left
        clock += n_steps - begin
        kept = min(max(cap - counted(sent, rounded * n_steps), 0.0), carry_over)
        if clock > 1000:
            break
    return np.inf


@settings(deadline=None, max_examples=60)
@given(
    open_bytes=st.lists(st.integers(0, 20), min_size=8, max_size=8).filter(any),
    heap=st.integers(1, 400), cap=st.integers(5, 60), others=st.integers(0, 3),
    after=st.sampled_from([0, 2]), carry_over=st.sampled_from([0, 7, 1000]),
    rounded=st.sampled_from([0.0, 0.53, 2.9]), used=st.sampled_from([None, 4.0, 90.0]),
    n_first=st.integers(1, 8), n_before=st.integers(0, 4),
    then=st.lists(st.integers(3, 8), min_size=1, max_size=4),
)  # fmt: skip
def test_agrees_with_every_step_of_cycles_that_differ_carry_over_and_round_up(
    open_bytes, heap, cap, others, after, carry_over, rounded, used, n_first, n_before, then
):
    cycles = Cycles(n_first=n_first, then=tuple(then), n_before=n_before)
    found = steps_of(
        steady([open_bytes], after or None), [heap], n_steps=8, cycles=cycles,
        cap=a_cap(cap, others, carry_over_bytes=carry_over, rounded_bytes=rounded,
                  keeps_aside=not after, first_spent_bytes=used),
    )[0]  # fmt: skip
    slow = rolling(open_bytes, heap, cycles, cap=cap, others=others, after=after,
                   carry_over=carry_over, rounded=rounded, used=used)  # fmt: skip
    if np.isinf(slow):
        assert found > 990
    else:
        assert found == pytest.approx(slow, abs=1e-5)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.integers(0, 20), min_size=8, max_size=8).filter(any), st.integers(1, 500),
    st.integers(5, 60), st.integers(0, 3), st.integers(0, 50),
)  # fmt: skip
def test_more_carried_over_never_ends_it_later(open_bytes, heap, cap, others, carry_over):
    cycles = Cycles(n_first=5, then=(8, 6, 7), n_before=2)

    def steps(most):
        return steps_of(
            steady([open_bytes]),
            [heap],
            n_steps=8,
            cycles=cycles,
            cap=a_cap(cap, others, carry_over_bytes=most, keeps_aside=True),
        )[0]

    assert steps(carry_over) <= steps(0.0) + 1e-6


def test_what_is_carried_over_by_hand():
    """Cap 6, 1 a step wanted in cycles of 5 and then 15 steps: 5, then 6 + 1, then 5, 6 + 1 ..."""
    cycles = Cycles(n_first=5, then=(15, 5))
    one = steady([[1.0] * 15])
    cap = a_cap(6, carry_over_bytes=3)
    # the cycle before the start sent nothing: the first holds 9, but is over after 5
    for heap, expected in ((5, 5), (11, 11), (12, 12), (13, 21), (17, 25), (18, 26), (24, 32)):
        assert steps_of(one, [heap], n_steps=15, cycles=cycles, cap=cap)[0] == pytest.approx(
            expected
        ), heap
