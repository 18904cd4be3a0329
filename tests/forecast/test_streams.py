"""Erlang B: published rows, small exact cases, the state equations it solves."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.streams import erlang_b, offered_erlangs


# a public worked example, in percent
@pytest.mark.parametrize(("erlangs", "n_servers", "percent"), [
    (8, 10, 12.1661), (10, 12, 11.9739), (12.5, 15, 10.0489), (15, 18, 8.6169), (18, 22, 6.5451),
])  # fmt: skip
def test_published_example_rows(erlangs, n_servers, percent):
    assert erlang_b(erlangs, n_servers) * 100 == pytest.approx(percent, abs=1e-4)


# value from memory: the standard Erlang B table of teletraffic handbooks
@pytest.mark.parametrize(("n_servers", "blocked", "erlangs"), [
    (1, 0.01, 0.0101), (1, 0.5, 1.0), (2, 0.01, 0.153), (5, 0.01, 1.36), (10, 0.01, 4.46),
    (20, 0.01, 12.0), (50, 0.01, 37.9), (100, 0.01, 84.1), (10, 0.02, 5.084), (15, 0.01, 8.108),
])  # fmt: skip
def test_the_inverse_agrees_with_the_standard_table(n_servers, blocked, erlangs):
    assert offered_erlangs(blocked, n_servers) == pytest.approx(erlangs, rel=6e-3)


def test_small_cases_by_hand():
    assert erlang_b(1.0, 1) == pytest.approx(1 / 2)
    assert erlang_b(1.0, 2) == pytest.approx(1 / 5)
    assert erlang_b(3.0, 0) == 1
    assert erlang_b(0.0, 4) == 0


def waits_prob(erlangs, n_servers):
    """Erlang C, who waits instead of going away: B / (1 - (A / n) (1 - B))."""
    blocked = erlang_b(erlangs, n_servers)
    return blocked / (1 - erlangs / n_servers * (1 - blocked))


def test_those_who_would_wait():
    # 100 calls of 3 minutes in half an hour are 10 erlangs; 14 places: 0.17413, and 0.88835 wait
    # at most 20 s (README of pyworkforce, a library of call centres); C(2, 1) = 1/3 by hand
    assert waits_prob(10.0, 14) == pytest.approx(0.1741319335950498, rel=1e-12)
    in_time = 1 - waits_prob(10.0, 14) * math.exp(-(14 - 10) * 20 / 180)
    assert in_time == pytest.approx(0.8883500191794669, rel=1e-12)
    assert waits_prob(1.0, 2) == pytest.approx(1 / 3)


def engset(n_sources, n_servers, each):
    """Share of time in which all servers are taken by so many sources that pause in between."""
    weights = [math.comb(n_sources, k) * each**k for k in range(n_servers + 1)]
    return weights[-1] / sum(weights)


@pytest.mark.parametrize(("n_sources", "n_servers", "each", "time", "call"), [
    # worked out from the formula of GNU Octave's package queueing (engset) and of R's (Engset_def);
    # who starts meets the others alone: one source fewer
    (3, 2, 0.5 / 0.7, 0.32751, 0.17361), (10, 3, 0.1, 0.04669, 0.03584),
])  # fmt: skip
def test_few_users_find_room_more_often_than_many(n_sources, n_servers, each, time, call):
    assert engset(n_sources, n_servers, each) == pytest.approx(time, abs=5e-6)
    met = engset(n_sources - 1, n_servers, each)
    assert met == pytest.approx(call, abs=5e-6)
    # as many starts from users without number: Erlang B is on the cautious side
    busy = sum(k * math.comb(n_sources, k) * each**k for k in range(n_servers + 1)) / sum(
        math.comb(n_sources, k) * each**k for k in range(n_servers + 1)
    )
    assert met < erlang_b(each * (n_sources - busy), n_servers)


def test_very_many_users_are_poisson():
    # 100,000 sources, 2 erlangs in all, 4 servers: 0.095234, Erlang B 0.095238
    assert engset(100_000, 4, 2e-5) == pytest.approx(0.095234, abs=1e-6)
    assert erlang_b(2.0, 4) == pytest.approx(0.095238, abs=1e-6)


@given(st.floats(0.01, 50.0), st.integers(1, 40))
def test_it_is_the_full_state_of_a_truncated_poisson(erlangs, n_servers):
    weights = [1.0]
    for k in range(1, n_servers + 1):
        weights.append(weights[-1] * erlangs / k)
    assert erlang_b(erlangs, n_servers) == pytest.approx(weights[-1] / sum(weights), rel=1e-9)


@given(st.floats(0.01, 0.9), st.integers(1, 60))
def test_the_inverse_inverts(blocked, n_servers):
    assert erlang_b(offered_erlangs(blocked, n_servers), n_servers) == pytest.approx(blocked)


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"blocked_prob: .* inside \(0, 1\), got 1"):
        offered_erlangs(1.0, 3)
    with pytest.raises(InputError, match=r"offered_erlangs: .* got -1"):
        erlang_b(-1.0, 3)
