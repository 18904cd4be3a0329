"""What items cost besides their bytes: lanes by mean value analysis, restarts, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.items import (
    above_limit_frac,
    items_per_s,
    refused_text,
    restart_factor,
    total_payload_bytes,
)
from linkfit.site.model import Backlog, PathLimits, SizeLaw

PHOTOS = Backlog(name="p", n_items=1000, size=SizeLaw(median_bytes=3.5e6, spread=1.6), flow="in")


def test_one_lane_is_transfer_and_cost_in_turn():
    assert items_per_s(np.array([1e6]), 2e6, 3.0, 1)[0] == pytest.approx(1 / 5)
    assert items_per_s(np.array([1e6]), 2e6, 0.0, 1)[0] == pytest.approx(1 / 2)
    assert items_per_s(np.array([0.0]), 2e6, 3.0, 4)[0] == 0


@given(st.floats(1e3, 1e8), st.floats(1e3, 1e9), st.floats(0.0, 10.0), st.integers(1, 12))
def test_lanes_stay_below_the_asymptotic_bounds(rate, bits, per_item_s, lanes):
    """X <= min(1 / D, N / (D + Z)) (Denning and Buzen 1978, operational laws)."""
    items = items_per_s(np.array([rate]), bits, per_item_s, lanes)[0]
    demand = bits / rate
    assert items <= min(1 / demand, lanes / (demand + per_item_s)) * (1 + 1e-9)
    if lanes > 1:
        assert items >= items_per_s(np.array([rate]), bits, per_item_s, lanes - 1)[0] * (1 - 1e-9)


def mva(service_s, visits, n_users, think_s=0.0):
    """Response times, queue lengths and throughput of a closed network of single servers."""
    service_s, visits = np.array(service_s), np.array(visits)
    queue = np.zeros(service_s.size)
    for users in range(1, n_users + 1):
        response = service_s * (1 + queue)
        through = users / (think_s + visits @ response)
        queue = through * visits * response
    return response, queue, through


def test_the_oracle_agrees_with_two_textbooks():
    # R. Jain, The Art of Computer Systems Performance Analysis, p. 577, and G. Bolch et al.,
    # Queueing Networks and Markov Chains, example 8.3 p. 331, as tested in GNU Octave's queueing
    response, queue, _ = mva([0.125, 0.3, 0.2], [16, 10, 5], 20, think_s=4.0)
    assert_allclose(response, [0.373, 4.854, 0.300], atol=1e-3)
    assert_allclose(queue, [1.991, 16.177, 0.500], atol=1e-3)
    response, queue, through = mva([0.02, 0.2, 0.4, 0.6], [1, 0.4, 0.2, 0.1], 6)
    assert_allclose(response, [0.025, 0.570, 1.140, 1.244], atol=1e-3)
    assert_allclose(queue, [0.244, 2.261, 2.261, 1.234], atol=1e-3)
    assert through == pytest.approx(9.920, abs=1e-3)


@pytest.mark.parametrize("n_lanes", [1, 2, 6, 20])
def test_lanes_are_users_of_one_server(n_lanes):
    found = items_per_s(np.array([1e6]), 5e5, 3.0, n_lanes)[0]
    assert found == pytest.approx(mva([0.5], [1], n_lanes, think_s=3.0)[2])


def test_lanes_are_the_machines_of_machine_repair():
    # M/M/1//N: p_n as N! / (N - n)! (lambda / mu)^n; N 5, lambda 0.1, mu 1: p0 0.563952, L
    # 0.639522, throughput 0.436048 (textbook formula, value from memory)
    through = items_per_s(np.array([1.0]), 1.0, 10.0, 5)[0]
    assert through == pytest.approx(0.436048, abs=1e-6)
    assert 5 - 10.0 * through == pytest.approx(0.639522, abs=1e-6)
    assert 1 - through == pytest.approx(0.563952, abs=1e-6)


def paused_sharing_per_s(n_lanes, think_s, size_s, rng, n_items):
    """Items a second of lanes that pause, then share one server equally: event by event."""
    rests = dict(enumerate(think_s * rng.standard_exponential(n_lanes)))  # until when
    left, now, done = {}, 0.0, 0
    while done < n_items:
        lane, until = min(rests.items(), key=lambda pair: pair[1], default=(None, np.inf))
        first = min(left, key=left.get, default=None)
        ends = now + left[first] * len(left) if left else np.inf
        step = (min(until, ends) - now) / max(len(left), 1)
        left = {key: value - step for key, value in left.items()}
        now = min(until, ends)
        if until <= ends:
            left[lane] = size_s(rng)
            del rests[lane]
        else:
            del left[first]
            rests[first] = now + think_s * rng.standard_exponential()
            done += 1
    return done / now


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.0, 0.7])
def test_lanes_agree_with_a_server_that_is_walked_through_time(spread):
    # shared equally, the mean size alone counts (insensitivity)
    found = [
        paused_sharing_per_s(
            3, 1.0, lambda rng: np.exp(spread * rng.standard_normal() - spread**2 / 2),
            np.random.default_rng([1, batch]), 2500,
        )
        for batch in range(8)
    ]  # fmt: skip
    error = np.std(found, ddof=1) / np.sqrt(8)
    assert error < 0.02
    # the start, with every lane at rest, is worth less than 2e-3
    assert abs(np.mean(found) - items_per_s(np.array([1e6]), 1e6, 1.0, 3)[0]) < 3 * error + 2e-3


# a drop every 6 h: 1 h file P = 0.85, 4 h P = 0.51, 12 h P = 0.14 and 38 h expected (arithmetic)
@pytest.mark.parametrize(("hours", "expected_h"), [(1.0, 1.088), (4.0, 5.69), (12.0, 38.3)])
def test_restarts_take_what_renewal_says(hours, expected_h):
    one = Backlog(
        name="v", n_items=1, size=SizeLaw(median_bytes=1e6 * 3600 * hours / 8), resumable=False
    )
    factor = restart_factor(one, np.array([1e6]), 0.0, np.array([1 / 6]))
    assert hours * factor[0] == pytest.approx(expected_h, rel=2e-3)


@pytest.mark.slow
def test_restarts_agree_with_a_simulation():
    rng = np.random.default_rng(3)
    spent = np.zeros(4000)
    for k in range(spent.size):  # a piece of 2 h, broken at 0.5 an hour, starts again
        while (lasts := rng.exponential(2.0)) < 2.0:
            spent[k] += lasts
        spent[k] += 2.0
    one = Backlog(name="v", n_items=1, size=SizeLaw(median_bytes=9e8), resumable=False)
    factor = restart_factor(one, np.array([1e6]), 0.0, np.array([0.5]))[0]
    assert abs(2 * factor - spent.mean()) < 5 * spent.std() / np.sqrt(spent.size)


def test_pieces_lose_less_and_resuming_loses_nothing():
    def factor(**edit):
        one = replace(PHOTOS, resumable=False, size=SizeLaw(median_bytes=2e9, spread=1.5), **edit)
        return restart_factor(one, np.array([2e6]), 0.5, np.array([0.3]))[0]

    resuming = replace(PHOTOS, resumable=True)
    assert factor() > factor(chunk_bytes=1e8) > factor(chunk_bytes=1e7) > 1
    assert restart_factor(resuming, np.array([2e6]), 0.5, np.array([0.3]))[0] == 1


def test_sums_of_items_agree_with_sums(rng):
    size = SizeLaw(median_bytes=100.0, spread=1.8)
    totals = 100.0 * np.exp(np.log(1.8) * rng.standard_normal((4000, 200))).sum(axis=1)
    ours = total_payload_bytes(size, 200, rng, 4000)
    levels = [0.05, 0.5, 0.95]
    assert_allclose(np.quantile(ours, levels), np.quantile(totals, levels), rtol=0.01)


def test_refusals_say_how_many_and_what_to_do():
    relay = PathLimits(entry="relay", body_limit_bytes=10e6)
    assert above_limit_frac(PHOTOS.size, 3.5e6) == pytest.approx(0.5)
    text = refused_text(PHOTOS, relay)
    n_above = round(1000 * above_limit_frac(PHOTOS.size, 10e6))
    assert text == (
        f"about {n_above} of 1000 items exceed the path's limit of 10.0 MB for one request; "
        "send them in pieces"
    )
    assert refused_text(replace(PHOTOS, chunk_bytes=5e6), relay) == ""
    assert "20.0 MB exceed" in refused_text(replace(PHOTOS, chunk_bytes=20e6), relay)
    assert refused_text(replace(PHOTOS, flow="out"), relay) == ""
    assert refused_text(PHOTOS, PathLimits(body_limit_bytes=10e6)) == ""
    assert refused_text(PHOTOS, PathLimits(entry="relay", body_limit_bytes=1e9)) == ""
