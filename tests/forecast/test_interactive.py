"""Interactive work: cases solved by hand on a steady link, and what must not get worse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.forecast.activities import key_echo, video_call, voice_call
from linkfit.forecast.interactive import Moments, Situation, judge, judge_page
from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.route import Route
from linkfit.link.paths import CapacityPaths

IDLE = Situation(name="idle", offered_bps=0.0)
ALL = Situation(name="no limit", offered_bps=np.inf)


def moments(rates, *, buffer_bits=4e5, loss_frac=0.0, rtt_s=0.05, n=300, worlds=None):
    rates = np.atleast_2d(rates)
    rng = np.random.default_rng(3)
    d = rates.shape[0]
    paths = CapacityPaths.from_rates(rates, world=worlds)
    return Moments(
        paths=paths,
        unknowns=LatencyUnknowns(
            queue_bits=np.full(d, buffer_bits), rtt_factor=np.ones(d),
            loss_frac=np.full(d, loss_frac), burst_ratio=np.ones(d), queue_source="as stated",
        ),
        draws=rng.integers(0, d, n),
        steps=rng.integers(rates.shape[1] // 4, rates.shape[1], n),
        rtts_s=np.full(n, rtt_s),
        loss_u=rng.random(n),
        busy_u=rng.random(n),
    )  # fmt: skip


def test_an_idle_steady_link_answers_in_its_round_trip():
    cell = judge(moments([2e6] * 100), IDLE, key_echo())
    # 150 bytes at 2 Mbit/s take 0.6 ms
    assert cell.time.draws == pytest.approx(np.full(300, 0.0506))
    assert (cell.share.value, cell.verdict) == (1.0, "fits")


def test_a_sender_without_a_limit_costs_the_buffer_over_the_rate():
    cell = judge(moments([2e6] * 100, buffer_bits=1e6), ALL, key_echo())
    assert cell.time.draws == pytest.approx(np.full(300, 0.5506))
    assert (cell.share.value, cell.verdict) == (0.0, "does not fit")


def test_others_that_send_half_the_time_cost_half_the_moments():
    half = Situation(name="usual", offered_bps=np.inf, busy_frac=0.5)
    found = moments([2e6] * 100, buffer_bits=1e6, n=2000)
    # 5 standard errors of a share of a half in 2000 moments: 5.6 %
    assert judge(found, half, key_echo()).share.value == pytest.approx(0.5, abs=0.056)


def test_loss_spoils_the_echo_of_either_packet_and_the_rating_of_a_call():
    found = moments([2e6] * 100, loss_frac=0.1, n=4000)
    # 1 - 0.9^2 = 19 %; 5 standard errors in 4000 moments: 3.1 %
    assert judge(found, IDLE, key_echo()).share.value == pytest.approx(0.81, abs=0.031)
    call = judge(found, IDLE, voice_call())
    # Ie,eff = 95 x 10 / 35.1 = 27.07 points, and 0.024 x 105 ms = 2.5: R 63.6, below 70
    assert call.share.value == 0.0
    assert float(np.median(call.score.draws)) == pytest.approx(3.29, abs=0.01)


def test_a_link_slower_than_the_call_is_said():
    cell = judge(moments([3e5] * 50 + [2e6] * 50), IDLE, video_call())
    assert cell.short_of_rate_frac == 0.5
    assert cell.share.value < 0.75  # moments are taken from step 25 on


def test_worlds_that_disagree_leave_the_verdict_open():
    rates = np.vstack([np.full((4, 100), 4e5), np.full((12, 100), 4e6)])
    worlds = np.repeat(np.arange(8), 2)
    cell = judge(moments(rates, worlds=worlds, n=800), IDLE, video_call())
    assert cell.share.low < 0.1 < 0.9 < cell.share.high
    assert cell.verdict == "may fit"


def test_a_page_shares_the_link_with_what_is_sent_and_waits_behind_it():
    found = moments([2e6] * 200, buffer_bits=1e6)
    idle, held, full = (
        judge_page(found, situation, Route(), np.random.default_rng(1)).time.quantile(0.5)
        for situation in (IDLE, Situation(name="held", offered_bps=5e5), ALL)
    )
    # 200 kB of median size at 2 Mbit/s take 0.8 s and some round trips
    assert 0.8 < idle < 1.6
    assert idle < held < full
    # at least the handshake's and request's round trips of 0.5 s more, and six parts of seven
    assert full > 3 * 0.5 + 0.8 * 7 / 6


rates = st.lists(st.one_of(st.just(0.0), st.floats(2e5, 5e6)), min_size=40, max_size=60)


@given(rates, st.floats(1e5, 4e6), st.floats(1e5, 4e6))
@settings(max_examples=30)
def test_a_tighter_limit_never_makes_anything_later(rates, first_bps, second_bps):
    found = moments([*rates, 1e6], n=60)
    low, high = sorted((first_bps, second_bps))
    for activity in (key_echo(), video_call()):
        slow, fast = (
            judge(found, Situation(name="held", offered_bps=bps), activity).time.draws
            for bps in (low, high)
        )
        assert (slow <= fast + 1e-6).all()


@given(rates)
@settings(max_examples=30)
def test_a_link_twice_as_fast_never_makes_anything_later(rates):
    rates = np.array([*rates, 1e6])
    for situation in (IDLE, ALL):
        here, faster = (
            judge(moments(r, n=60), situation, voice_call()).time.draws for r in (rates, 2 * rates)
        )
        assert (faster <= here + 1e-6).all()
