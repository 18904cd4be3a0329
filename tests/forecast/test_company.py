"""The others around a transfer: their law, and that less load is a part of more."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.forecast.company import SETTLE_S, Company
from linkfit.forecast.sharing import FlowClass

N = 400


def flow(per_s, name="f", **more):
    return FlowClass(name=name, arrivals_per_s=per_s, median_bits=1e5, **more)


def rows(found):
    """Every transfer as a row of numbers, to compare sets of them."""
    return set(zip(found.probe.tolist(), found.after_s.tolist(), found.bits.tolist(), strict=True))


@settings(max_examples=20, deadline=None)
@given(st.floats(0.001, 3.0), st.floats(0.0, 1.0), st.integers(0, 100))
def test_less_load_is_a_part_of_more(per_s, share, seed):
    company = Company(50, seed)
    none, until = np.zeros(50), np.full(50, 20.0)
    more = [flow(per_s, "a", spread=1.5), flow(2.0, "b")]
    less = [flow(per_s * share, "a", spread=1.5), flow(2.0, "b")]
    assert rows(company.arrivals(less, none, until)) <= rows(company.arrivals(more, none, until))
    assert rows(company.present(less, 1e6, 900.0, 50)) <= rows(
        company.present(more, 1e6, 900.0, 50)
    )
    assert rows(company.arrivals([more[1]], none, until)) <= rows(
        company.arrivals(more, none, until)
    )


def test_answers_do_not_depend_on_what_was_asked_before():
    none, until = np.zeros(N), np.full(N, 30.0)
    fresh, used = Company(N, 5), Company(N, 5)
    used.arrivals([flow(9.0, "b")], none, until)
    used.arrivals([flow(0.01)], none, until)
    assert rows(used.arrivals([flow(0.5)], none, until)) == rows(
        fresh.arrivals([flow(0.5)], none, until)
    )


def test_fewer_probes_are_the_first_of_more():
    company = Company(N, 5)
    every = company.arrivals([flow(1.0)], np.zeros(N), np.full(N, 10.0))
    some = company.arrivals([flow(1.0)], np.zeros(40), np.full(40, 10.0))
    assert rows(some) == {row for row in rows(every) if row[0] < 40}


def test_arrivals_are_poisson_over_all_windows():
    found = Company(N, 1).arrivals([flow(0.2)], np.full(N, -SETTLE_S), np.full(N, 100.0))
    number = np.bincount(found.probe, minlength=N)
    mean = 0.2 * (100 + SETTLE_S)
    assert abs(number.mean() - mean) < 4 * np.sqrt(mean / N)
    assert 0.75 < number.var() / mean < 1.3
    hist = np.histogram(found.after_s, bins=8, range=(-SETTLE_S, 100.0))[0]
    assert (np.abs(hist - hist.mean()) < 5 * np.sqrt(hist.mean())).all()


# M/G/1-PS: P(n under way) = (1 - rho) rho^n, the classes binomial parts of it (Kelly 1979,
# section 3.3, value from memory)
@pytest.mark.parametrize("rho", [0.3, 0.8])
def test_the_number_under_way_is_geometric(rho):
    n = 20_000
    flows = [flow(rho * 7.0, "a"), flow(rho * 3.0, "b")]
    found = Company(n, 2).present(flows, 1e6, 900.0, n)
    number = np.bincount(found.probe, minlength=n)
    for k in range(4):
        expected = (1 - rho) * rho**k
        error = np.sqrt(expected * (1 - expected) / n)
        assert abs((number == k).mean() - expected) < 4 * error


def test_what_is_left_of_a_transfer_is_its_equilibrium_remainder():
    # E[remainder] = E[S^2] / (2 E[S]), the residual life of renewal theory
    n = 20_000
    one = flow(5.0, spread=1.6)
    found = Company(n, 3).present([one], 1e6 * 2, 900.0, n)
    expected = one.mean_bits * np.exp(np.log(1.6) ** 2) / 2
    assert_allclose(found.bits.mean(), expected, rtol=0.04)


def test_low_priority_waits_in_what_the_others_leave():
    n = 20_000
    high, low = flow(4.0, "a"), flow(3.0, "b", low_priority=True)
    found = Company(n, 4).present([high, low], 1e6, 900.0, n)
    # high: geometric with 0.4, mean 2/3; low: 0.3 / (1 - 0.7) = 1
    assert_allclose((~found.low).sum() / n, 0.4 / 0.6, rtol=0.05)
    assert_allclose(found.low.sum() / n, 1.0, rtol=0.05)


def test_above_the_capacity_they_heap_up_for_a_part_of_the_busy_time():
    n = 2000
    found = Company(n, 4).present([flow(20.0)], 1e6, 10.0, n)
    # 20 a second, of which 10.5 are not served, for 5 s in the mean, beside the state at the top
    expected = 20 * 10 * (1 - 0.95 / 2) / 2 + 0.95 / 0.05
    assert_allclose(found.probe.size / n, expected, rtol=0.1)


def test_streams_that_run_are_poisson_and_never_fewer_for_more():
    company = Company(20_000, 8)
    found = company.running("film", 0.7, 99, 20_000)
    for k in range(4):
        expected = math.exp(-0.7) * 0.7**k / math.factorial(k)
        assert abs((found == k).mean() - expected) < 5 * np.sqrt(expected / 20_000)
    assert (company.running("film", 1.4, 99, 20_000) >= found).all()
    assert company.running("film", 0.7, 2, 20_000).max() == 2
    assert_array_equal(company.running("film", 0.0, 2, 50), np.zeros(50))
    assert_array_equal(company.running("film", 500.0, 1000, 3), [500.0] * 3)
    assert (company.running("call", 0.7, 99, 20_000) != found).any()


def test_flows_of_one_name_have_draws_of_their_own():
    none, until = np.zeros(N), np.full(N, 30.0)
    found = Company(N, 5).arrivals([flow(0.5), flow(0.5)], none, until)
    assert len(rows(found)) == found.probe.size
    alone = Company(N, 5).arrivals([flow(0.5)], none, until)
    assert rows(alone) < rows(found)


def test_sizes_follow_the_flow():
    none, until = np.zeros(N), np.full(N, 30.0)
    small = Company(N, 5).arrivals([flow(0.5, spread=1.8)], none, until)
    twice = replace(flow(0.5, spread=1.8), median_bits=2e5)
    large = Company(N, 5).arrivals([twice], none, until)
    assert_allclose(large.bits, 2 * small.bits)
    assert_array_equal(large.after_s, small.after_s)


def test_no_more_heap_up_than_there_are_users():
    open_ = Company(N, 6).present([flow(9.0), flow(0.5, "b")], 1e6, 900.0, N)
    few = Company(N, 6).present([flow(9.0, n_sources=2), flow(0.5, "b")], 1e6, 900.0, N)
    more = Company(N, 6).present([flow(9.0, n_sources=5), flow(0.5, "b")], 1e6, 900.0, N)
    assert rows(few) < rows(more) < rows(open_)
    alone = Company(N, 6).present([flow(9.0, n_sources=2)], 1e6, 900.0, N)
    assert np.bincount(alone.probe, minlength=N).max() == 2
