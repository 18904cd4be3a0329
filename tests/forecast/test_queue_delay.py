"""The queue before the link: by hand, against the recursion in plain steps, and its order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.queue_delay import (
    largest_added_queue_bits,
    largest_queue_bits,
    queue_bits,
    shares_in_time,
    wait_s,
    warm_up_steps,
)
from linkfit.link.paths import CapacityPaths

rates = st.lists(st.one_of(st.just(0.0), st.floats(1e5, 5e6)), min_size=40, max_size=60)


@pytest.mark.parametrize(
    ("rates", "offered_bps", "buffer_bits", "expected"),
    [
        # below the capacity nothing waits
        ([2e6] * 4, 1e6, 1e9, [0, 0, 0, 0]),
        # an outage of two seconds fills, then it drains at 1 Mbit/s
        ([2e6, 0, 0, 2e6, 2e6], 1e6, 1e9, [0, 0, 1e6, 2e6, 1e6]),
        # the buffer holds 1.5 Mbit, the rest is dropped
        ([2e6, 0, 0, 2e6, 2e6], 1e6, 1.5e6, [0, 0, 1e6, 1.5e6, 0.5e6]),
        # who always has more keeps it full
        ([2e6, 1e6, 3e6], np.inf, 4e5, [0, 4e5, 4e5]),
    ],
)
def test_cases_solved_by_hand(rates, offered_bps, buffer_bits, expected):
    paths = CapacityPaths.from_rates(rates)
    assert_allclose(queue_bits(paths, offered_bps, buffer_bits), [expected])


@given(rates, st.floats(0, 4e6), st.floats(0, 1e7))
def test_it_agrees_with_the_recursion_taken_step_by_step(rates, offered_bps, buffer_bits):
    waiting, expected = 0.0, []
    for rate in rates:
        expected.append(waiting)
        waiting = min(max(waiting + offered_bps - rate, 0.0), buffer_bits)
    found = queue_bits(CapacityPaths.from_rates(rates), offered_bps, buffer_bits)
    assert_allclose(found[0], expected, atol=1e-3)


def test_a_packet_waits_for_the_buffer_over_the_rate():
    paths = CapacityPaths.from_rates([2e6] * 50)
    waits = wait_s(paths, [3.0, 4.5], 0, [5e5, 0.0], 2e3)
    assert_allclose(waits, [(5e5 + 2e3) / 2e6, 1e-3])


def test_an_outage_delays_the_packet_but_is_no_added_delay():
    paths = CapacityPaths.from_rates([1e6] * 5 + [0.0] * 5 + [1e6] * 30)
    assert wait_s(paths, 6.0, 0, 0.0, 1e3) == pytest.approx(4.001)
    added = largest_added_queue_bits(paths, 0.1, 1e3)[0]
    assert_allclose(added[[0, 6]], [1e5, 1e5])  # a tenth of a second of 1 Mbit/s either way
    whole = largest_queue_bits(paths, 0.1, 1e3)[0]
    assert whole[0] == pytest.approx(99e3)
    assert whole[6] < 0


def test_a_row_that_carries_nothing_is_late_and_blames_no_queue():
    paths = CapacityPaths.from_rates(np.zeros(20))
    assert (largest_queue_bits(paths, 0.1, 1e3) < 0).all()
    assert np.isinf(largest_added_queue_bits(paths, 0.1, 1e3)).all()


@given(rates, st.floats(1e5, 4e6), st.floats(1e4, 1e7), st.floats(0.01, 3.0))
@settings(max_examples=40)
def test_room_and_wait_say_the_same(rates, offered_bps, buffer_bits, within_s):
    paths = CapacityPaths.from_rates([*rates, 1e6])
    waiting = queue_bits(paths, offered_bps, buffer_bits)
    waits = wait_s(paths, np.arange(paths.n_steps) * 1.0, 0, waiting[0], 1e4)
    fits = waiting[0] <= largest_queue_bits(paths, within_s, 1e4)[0]
    clear = np.abs(waits - within_s) > 1e-6
    assert (fits == (waits <= within_s))[clear].all()


def test_shares_count_moments_and_fall_with_the_rate(rng):
    paths = CapacityPaths.from_rates(rng.lognormal(np.log(2e6), 0.5, (6, 400)))
    room = largest_queue_bits(paths, 0.3, 1e4)
    offered = np.array([0.0, 5e5, 1e6, 2e6, np.inf])
    found = shares_in_time(paths, room, offered, 5e6)
    assert found.shape == (5, 6)
    assert (np.diff(found, axis=0) <= 0).all()
    one = queue_bits(paths, 1e6, 5e6) <= room
    assert_allclose(found[2], one[:, warm_up_steps(paths) :].mean(axis=1))


@given(rates, st.floats(1e5, 3e6), st.floats(1e5, 1e6))
@settings(max_examples=30)
def test_a_smaller_buffer_or_a_faster_link_never_delays_more(rates, offered_bps, buffer_bits):
    paths = CapacityPaths.from_rates(rates)
    here = queue_bits(paths, offered_bps, buffer_bits)
    assert (queue_bits(paths, offered_bps, buffer_bits / 2) <= here + 1e-6).all()
    assert (queue_bits(paths.scaled(2.0), offered_bps, buffer_bits) <= here + 1e-6).all()


def test_bad_input_is_named_and_shown():
    paths = CapacityPaths.from_rates([1e6] * 8)
    with pytest.raises(InputError, match="offered_bps: expected numbers >= 0, got -1"):
        queue_bits(paths, -1.0, 1e6)
    with pytest.raises(InputError, match=r"buffer_bits: expected finite numbers >= 0, got -2"):
        queue_bits(paths, 1.0, -2.0)
    with pytest.raises(InputError, match=r"room_bits: expected shape \(1, 8\), got \(1, 3\)"):
        shares_in_time(paths, np.zeros((1, 3)), [1.0], 1e6)


def stepwise_queue(steps_up, steps_down, buffer_bits=np.inf):
    """The queue of `queue_bits` where each step brings `steps_up` and takes `steps_down`.

    Both vary; the function knows a constant offer: what is short of it is taken besides.
    """
    offered = float(steps_up.max())
    paths = CapacityPaths.from_rates(offered - steps_up + steps_down)
    return queue_bits(paths, offered, min(buffer_bits, 1e15))


def means_agree(batches, expected):
    error = np.std(batches, axis=0, ddof=1) / np.sqrt(len(batches))
    assert (error < 0.06 * np.abs(expected)).all()
    return (np.abs(np.mean(batches, axis=0) - expected) < 3 * error).all()


# M/M/1/K: arrivals and departures as they come are steps of one packet up or down, blocked at the
# ends. lambda = mu, K = 10: L = 5, utilisation 10/11 (GNU Octave package queueing, test of
# qsmm1k); lambda 0.8, mu 1, K = 5: loss 0.08882, L 1.8683 (worked out from the same formulas)
@pytest.mark.slow
@pytest.mark.parametrize(
    ("arrivals_per_s", "n_room", "in_system", "is_full_prob"),
    [(1.0, 10, 5.0, 1 / 11), (0.8, 5, 1.8683, 0.08882)],
)
def test_a_buffer_that_drops_is_a_queue_with_so_much_room(
    arrivals_per_s, n_room, in_system, is_full_prob, rng
):
    comes = rng.random((40, 6000)) < arrivals_per_s / (arrivals_per_s + 1.0)
    waiting = stepwise_queue(comes * 1.0, ~comes * 1.0, n_room)[:, 500:]
    assert means_agree(waiting.mean(axis=1), in_system)
    assert means_agree((waiting > n_room - 0.5).mean(axis=1), is_full_prob)
    if arrivals_per_s == 1.0:
        assert means_agree((waiting > 0.5).mean(axis=1), 10 / 11)


def two_exponentials(shape, rng):
    """Mean 1, squared coefficient of variation 4: balanced means."""
    share = 0.5 * (1 + np.sqrt(3 / 5))
    means = np.where(rng.random(shape) < share, 0.5 / share, 0.5 / (1 - share))
    return means * rng.standard_exponential(shape)


SERVICES = {
    0.0: lambda shape, _: np.ones(shape),
    0.5: lambda shape, rng: rng.gamma(2.0, 0.5, shape),
    1.0: lambda shape, rng: rng.standard_exponential(shape),
    4.0: two_exponentials,
}


# Pollaczek-Khinchine: the mean wait is rho E[S] (1 + cs^2) / (2 (1 - rho)), at rho 0.8 and E[S] 1
# 2.0, 4.0 and 10.0 (L. Kleinrock, Queueing Systems vol. 1, as the MATLAB of the LINE solver has
# it, qsys_mg1). A step of the queue is one customer: it brings its service, and what drains until
# the next comes is the time between the two (Lindley 1952)
@pytest.mark.slow
@pytest.mark.parametrize(("square_cov", "wait"), [(0.0, 2.0), (1.0, 4.0), (4.0, 10.0)])
def test_waits_are_those_of_pollaczek_and_khinchine(square_cov, wait, rng):
    shape = (60, 8000)
    services = SERVICES[square_cov](shape, rng)
    waiting = stepwise_queue(services, rng.standard_exponential(shape) / 0.8)[:, 1000:]
    assert means_agree(waiting.mean(axis=1), wait)


# J. F. C. Kingman, 1961: with ca^2 and cs^2 of arrivals and services no mean wait exceeds
# (ca^2 / rho^2 + cs^2) rho E[S] / (2 (1 - rho)); A. O. Allen and P. Cunneen put ca^2 for the first
# part, which is the formula above at ca^2 = 1 and near the truth elsewhere (both from memory, the
# latter as in the LINE solver, qsys_gig1_approx_allencunneen)
@pytest.mark.slow
@pytest.mark.parametrize(("arrival_cov", "service_cov"), [(0.5, 0.5), (0.5, 4.0), (4.0, 0.5)])
def test_waits_without_poisson_stay_below_kingman_and_near_allen_and_cunneen(
    arrival_cov, service_cov, rng
):
    shape, rho = (60, 8000), 0.8
    gaps = SERVICES[arrival_cov](shape, rng) / rho
    waits = stepwise_queue(SERVICES[service_cov](shape, rng), gaps)[:, 1000:].mean(axis=1)
    error = waits.std(ddof=1) / np.sqrt(waits.size)
    both = rho / (2 * (1 - rho)) * (arrival_cov + service_cov)
    bound = rho / (2 * (1 - rho)) * (arrival_cov / rho**2 + service_cov)
    assert waits.mean() < bound + 3 * error
    assert waits.mean() == pytest.approx(both, rel=0.2)
