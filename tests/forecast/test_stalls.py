"""Watching a stream: by hand, against a player in plain steps, and what must not get worse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.stalls import FILM, LIVE, Player, watch
from linkfit.link.paths import CapacityPaths


def seen(rates, asked_bps, *, player=FILM, session_s=60.0):
    paths = CapacityPaths.from_rates(rates)
    return watch(
        paths, np.zeros(1), np.zeros(1, dtype=np.int64), asked_bps,
        player=player, session_s=session_s,
    )  # fmt: skip


def test_twice_the_rate_starts_in_half_a_segment_and_never_stalls():
    found = seen([2e6] * 200, [1e6])
    assert (found.wait_s[0, 0], found.n_stalls[0, 0], found.stalled_s[0, 0]) == (3.0, 0, 0.0)
    assert found.is_good(FILM).all()


def test_half_the_rate_plays_half_the_time():
    """6 s of content take 12 s, play for 12 s while 6 s more arrive, and so on."""
    found = seen([1e6] * 2000, [2e6], session_s=1212.0)
    assert found.wait_s[0, 0] == 12.0
    assert found.stalled_s[0, 0] == pytest.approx(600.0, abs=12.0)
    assert not found.is_good(FILM).any()


def test_an_outage_is_ridden_out_by_what_is_ahead_and_no_longer():
    """30 s ahead at 1 Mbit/s last 30 s: an outage of 25 s is not seen, one of 40 s is."""
    for outage_s, still_s in ((25, 0.0), (40, 40 - 30 + 3)):
        rates = [3e6] * 100 + [0.0] * outage_s + [3e6] * 200
        found = seen(rates, [1e6], session_s=250.0)
        # 10 s without content, and 2 s until 6 s are there again; steps of a second
        assert found.stalled_s[0, 0] == pytest.approx(still_s, abs=1.5)


def test_a_live_picture_can_be_only_4_s_late_and_may_stand_still_a_little():
    rates = [3e6] * 100 + [0.0] * 10 + [3e6] * 300
    film, live = (seen(rates, [1e6], player=p, session_s=300.0) for p in (FILM, LIVE))
    assert film.n_stalls[0, 0] == 0
    assert live.n_stalls[0, 0] == 1
    # 10 s less 4 s ahead, and the first second until it goes on
    assert live.stalled_s[0, 0] == pytest.approx(7.0, abs=1.0)
    assert live.is_good(LIVE).all()  # a twentieth of 300 s is 15 s


def test_what_never_begins_is_not_good():
    found = seen([0.0] * 100, [1e6])
    assert found.wait_s[0, 0] == 60.0
    assert not found.is_good(LIVE).any()


rates = st.lists(st.one_of(st.just(0.0), st.floats(1e5, 4e6)), min_size=60, max_size=80)


@given(rates, st.floats(2e5, 3e6))
@settings(max_examples=40)
def test_it_agrees_with_a_player_taken_step_by_step(rates, asked_bps):
    ahead = still = wait = stalls = 0.0
    plays = begun = False
    for rate in rates[:60]:
        wait += not begun
        still += begun and not plays
        ahead += rate / asked_bps - plays
        if plays and ahead < -1e-9:
            still, stalls, plays = still - ahead, stalls + 1, False
        ahead = min(max(ahead, 0.0), FILM.ahead_s)
        if ahead >= (FILM.resume_s if begun else FILM.start_s) - 1e-9:
            plays = begun = True
    found = seen(rates, [asked_bps])
    got = (found.wait_s[0, 0], found.stalled_s[0, 0], found.n_stalls[0, 0])
    assert_allclose(got, (wait, still, stalls), atol=1e-6)


@given(rates)
@settings(max_examples=40)
def test_a_lower_rate_never_waits_longer_for_the_first_picture(rates):
    found = seen(rates, [5e5, 1e6, 2e6])
    assert (np.diff(found.wait_s[:, 0]) >= 0).all()


def test_viewers_share_as_one_of_their_sum(rng):
    paths = rng.lognormal(np.log(4e6), 0.6, 400)
    two = seen(paths, [2 * 1.2e6], session_s=300.0)
    half = seen(paths / 2, [1.2e6], session_s=300.0)
    assert_allclose(two.stalled_s, half.stalled_s, atol=1e-6)


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match="ahead_s: expected at least 6 s, got 5"):
        Player(start_s=6.0, resume_s=2.0, ahead_s=5.0)
    with pytest.raises(InputError, match="asked_bps: expected finite numbers > 0, got 0"):
        seen([1e6] * 9, [0.0])
    with pytest.raises(InputError, match="session_s: expected a finite number > 0, got -1"):
        seen([1e6] * 9, [1e6], session_s=-1.0)
