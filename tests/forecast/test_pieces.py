import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.long_paths import LongPaths
from linkfit.forecast.pieces import MOST_TRIES, Breaks, send_pieces, unbroken_chance
from linkfit.link.paths import CapacityPaths
from tests.forecast.restart_theory import expected_time_s, unbroken_prob

HOUR = 3600.0


def long_from(rates, n_draws=1, timeout_s=2.0, seed=0):
    paths = CapacityPaths.from_rates(rates)
    rng = np.random.default_rng(seed)
    return LongPaths.join(paths, n_draws=n_draws, timeout_s=timeout_s, rng=rng)


def by_hand(rates, start_s, piece, total, timeout_s, total_timeout_s, most=MOST_TRIES):
    """Piece by piece, with the path written out many times: the slow and obvious way."""
    n = len(rates)
    repeats = 60
    rates = np.tile(rates, repeats)
    edges = np.arange(rates.size + 1, dtype=float)
    bits = np.concatenate(([0.0], np.cumsum(rates)))
    dead = np.concatenate(([0], (rates < 1.0).astype(int), [0]))
    # an outage across the end of a round is two, as on joined rows
    breaks, length = [], 0
    for i, is_dead in enumerate(dead[1:]):
        if i % n == 0:
            length = 0
        length = length + 1 if is_dead else 0
        if length == math.floor(timeout_s) + 1:
            breaks.append(i + 1 - length + timeout_s)
    now, kept, wasted, n_breaks = start_s, 0.0, 0.0, 0
    while kept < total - 1e-9 and n_breaks < most:
        size = min(piece, total - kept)
        goal = np.interp(now, edges, bits) + size
        if goal > bits[-1]:
            return None
        index = int(np.searchsorted(bits, goal - 1e-9))
        end = edges[index - 1] + (goal - bits[index - 1]) / rates[index - 1]
        broken = min([b for b in breaks if b > now] + [now + total_timeout_s])
        if end <= broken + 1e-9:
            now, kept = end, kept + size
        else:
            wasted += np.interp(broken, edges, bits) - np.interp(now, edges, bits)
            now, n_breaks = broken, n_breaks + 1
    return now - start_s, wasted, n_breaks


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from([0.0, 0.0, 3.0, 7.0, 20.0]), min_size=6, max_size=14),
    st.floats(0.5, 30.0),
    st.floats(1.0, 60.0),
    st.sampled_from([math.inf, 3.5, 11.0]),
    st.integers(0, 5),
)
def test_agrees_with_pieces_sent_one_by_one(rates, piece, total, total_timeout_s, seed):
    if sum(rates) == 0:
        rates[0] = 7.0
    long = long_from(rates, timeout_s=1.5, seed=seed)
    start_s = float(long.starts_s[0])
    expected = by_hand(rates, start_s, piece, total, 1.5, total_timeout_s, most=40)
    assume(expected is not None and expected[2] < 40)
    sent = send_pieces(
        long,
        piece_bits=piece,
        total_bits=total,
        breaks=Breaks(total_timeout_s=total_timeout_s),
        rng=np.random.default_rng(0),
    )
    time_s, wasted, n_breaks = expected
    assert sent.n_breaks[0] == n_breaks
    assert_allclose([sent.time_s[0], sent.wasted_bits[0]], [time_s, wasted], rtol=1e-6, atol=1e-6)


def test_a_constant_link_with_random_drops_agrees_with_the_closed_form():
    long = long_from(np.full(60, 1e6), n_draws=4000)
    drops_per_s = 1 / (6 * HOUR)
    duration_s = 6 * HOUR
    bits = 1e6 * duration_s
    sent = send_pieces(
        long,
        piece_bits=bits,
        total_bits=bits,
        breaks=Breaks(drops_per_s=drops_per_s),
        rng=np.random.default_rng(3),
    )
    error_s = sent.time_s.std() / np.sqrt(4000)
    expected_s = expected_time_s(duration_s, drops_per_s)
    assert abs(sent.time_s.mean() - expected_s) < 3 * error_s
    wasted_s = sent.wasted_bits / 1e6
    error_s = wasted_s.std() / np.sqrt(4000)
    assert abs(wasted_s.mean() - (expected_s - duration_s)) < 3 * error_s
    first_time = (sent.n_breaks == 0).mean()
    assert first_time == pytest.approx(math.exp(-1), abs=3 * math.sqrt(0.37 * 0.63 / 4000))


@pytest.mark.parametrize(("hours", "prob"), [(1, 0.85), (4, 0.51), (12, 0.14)])
def test_the_chance_on_a_constant_link_is_the_one_people_are_told(hours, prob):
    long = long_from(np.full(60, 1e6), n_draws=10)
    found = unbroken_chance(
        long,
        piece_bits=1e6 * hours * HOUR,
        breaks=Breaks(drops_per_s=1 / (6 * HOUR)),
        rng=np.random.default_rng(0),
    )
    assert found.prob == pytest.approx(prob, abs=0.005)  # common practice, printed to two digits
    assert found.prob == pytest.approx(unbroken_prob(hours * HOUR, 1 / (6 * HOUR)))


def test_twelve_hours_with_a_drop_each_six_take_thirty_eight():
    # common practice of the trade: 38 h, 26 of them in vain
    long = long_from(np.full(60, 1e6), n_draws=4000)
    bits = 12 * HOUR * 1e6
    sent = send_pieces(
        long, piece_bits=bits, total_bits=bits, breaks=Breaks(drops_per_s=1 / (6 * HOUR)),
        rng=np.random.default_rng(4),
    )  # fmt: skip
    error_s = sent.time_s.std() / np.sqrt(4000)
    assert error_s < HOUR
    assert abs(sent.time_s.mean() - 38.3 * HOUR) < 3 * error_s
    assert abs(sent.wasted_bits.mean() / 1e6 - 26.3 * HOUR) < 3 * error_s


def test_smaller_pieces_waste_half_a_piece_a_break():
    long = long_from(np.full(60, 1e6), n_draws=2000)
    sent = send_pieces(
        long, piece_bits=6e7, total_bits=7.2e9, breaks=Breaks(drops_per_s=1 / 1200),
        rng=np.random.default_rng(1),
    )  # fmt: skip
    wasted = sent.wasted_bits.sum() / sent.n_breaks.sum()
    assert wasted == pytest.approx(3e7, rel=0.03)


def test_an_outage_longer_than_the_timeout_costs_the_piece_a_shorter_one_costs_its_length():
    rates = [10.0] * 4 + [0.0] * 4 + [10.0] * 92
    long = long_from(rates, timeout_s=3.0)
    long = LongPaths(
        paths=long.paths, order=long.order, starts_s=np.zeros(1), breaks_s=long.breaks_s
    )
    sent = send_pieces(
        long, piece_bits=60.0, total_bits=60.0, breaks=Breaks(), rng=np.random.default_rng(0)
    )
    assert (sent.time_s[0], sent.wasted_bits[0]) == (14.0, 40.0)
    patient = long_from(rates, timeout_s=5.0)
    patient = LongPaths(
        paths=patient.paths, order=patient.order, starts_s=np.zeros(1), breaks_s=patient.breaks_s
    )
    sent = send_pieces(
        patient, piece_bits=60.0, total_bits=60.0, breaks=Breaks(), rng=np.random.default_rng(0)
    )
    assert (sent.time_s[0], sent.wasted_bits[0]) == (10.0, 0.0)


def test_a_heap_of_very_many_breaks_goes_on_at_its_pace():
    long = long_from(np.full(600, 1e6), n_draws=50)
    asked = {"piece_bits": 1e7, "breaks": Breaks(drops_per_s=1 / 60)}
    short, heap = (
        send_pieces(long, total_bits=total, rng=np.random.default_rng(2), **asked)
        for total in (3e10, 3e11)
    )
    # 10 s pieces and a drop a minute; 30000 s against 300000 s of sending
    assert heap.time_s.mean() == pytest.approx(10 * short.time_s.mean(), rel=0.02)
    assert heap.wasted_bits.mean() == pytest.approx(10 * short.wasted_bits.mean(), rel=0.1)
    piece_s = expected_time_s(10.0, 1 / 60)
    assert heap.time_s.mean() == pytest.approx(30000 * piece_s, rel=0.02)


def test_what_never_fits_is_never():
    long = long_from(np.full(10, 1.0), n_draws=3)
    sent = send_pieces(
        long, piece_bits=100.0, total_bits=100.0, breaks=Breaks(total_timeout_s=50.0),
        rng=np.random.default_rng(0),
    )  # fmt: skip
    assert np.isinf(sent.time_s).all()
    assert np.isinf(sent.first_s).all()
    assert (sent.n_breaks == MOST_TRIES).all()
    chance = unbroken_chance(
        long, piece_bits=100.0, breaks=Breaks(total_timeout_s=50.0), rng=np.random.default_rng(0)
    )
    assert chance.prob == 0.0


def test_a_dead_link_ends_never_without_turning_for_ever():
    long = long_from(np.zeros(10), timeout_s=20.0)
    sent = send_pieces(
        long, piece_bits=5.0, total_bits=5.0, breaks=Breaks(), rng=np.random.default_rng(0)
    )
    assert sent.time_s[0] == np.inf


def test_the_first_comes_when_so_much_is_kept():
    long = long_from(np.full(10, 2.0))
    sent = send_pieces(
        long, piece_bits=10.0, total_bits=100.0, first_bits=30.0, breaks=Breaks(),
        rng=np.random.default_rng(0),
    )  # fmt: skip
    assert (sent.first_s[0], sent.time_s[0]) == pytest.approx((15.0, 50.0))


def test_bad_numbers_are_named():
    with pytest.raises(InputError, match="drops_per_s: expected a finite number >= 0, got -1"):
        Breaks(drops_per_s=-1)
    with pytest.raises(InputError, match="total_timeout_s: expected a finite number > 0, got 0"):
        Breaks(total_timeout_s=0)
