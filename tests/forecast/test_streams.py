"""Erlang B: published rows, small exact cases, the state equations it solves."""

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
