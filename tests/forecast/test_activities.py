"""Activities: what their times are made of and how long they may be."""

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.activities import RESPONSE_LIMITS_S, felt, key_echo, video_call, voice_call
from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.voice import CODECS, GOOD_RATING, rating


def unknowns(loss_frac, burst_ratio=1.0):
    loss = np.atleast_1d(np.asarray(loss_frac, float))
    return LatencyUnknowns(
        queue_bits=np.ones(loss.size), rtt_factor=np.ones(loss.size), loss_frac=loss,
        burst_ratio=np.full(loss.size, burst_ratio), queue_source="as stated",
    )  # fmt: skip


def test_an_echo_is_a_round_trip_and_a_lost_packet_costs_a_timeout():
    echo = key_echo(0.25)
    times_s = echo.base_s(np.array([0.06, 0.06]), np.array([False, True]))
    assert times_s == pytest.approx([0.06, 1.06])  # least timeout of RFC 6298: 1 s
    assert echo.within_s(unknowns([0.0, 0.2])) == pytest.approx([0.25, 0.25])
    assert echo.good == "within 250 ms"


def test_a_call_is_half_a_round_trip_and_the_devices():
    for call in (voice_call(), video_call()):
        assert call.base_s(np.array([0.1]), np.array([True])) == pytest.approx([0.05 + 0.08])
    assert video_call().within_s(unknowns(0.01)) == pytest.approx([0.4])  # ITU-T G.114


@pytest.mark.parametrize("codec", ["G.711", "G.729A", "Opus"])
@pytest.mark.parametrize(("loss_frac", "burst_ratio"), [(0.0, 1.0), (0.01, 1.0), (0.03, 2.0)])
def test_the_longest_delay_of_a_voice_call_is_rated_just_good(codec, loss_frac, burst_ratio):
    call = voice_call(codec=CODECS[codec])
    within_s = call.within_s(unknowns(loss_frac, burst_ratio))
    points = rating(CODECS[codec], delay_s=within_s, loss_frac=loss_frac, burst_ratio=burst_ratio)
    if within_s[0] >= 0:
        assert points == pytest.approx([GOOD_RATING])
    else:  # the loss alone is too much, at no delay at all
        best = rating(CODECS[codec], delay_s=0, loss_frac=loss_frac, burst_ratio=burst_ratio)
        assert best < GOOD_RATING


def test_the_tunnel_makes_calls_larger():
    # 50 packets a second of 60 bytes more
    assert voice_call(60.0).own_bps - voice_call().own_bps == pytest.approx(24e3)
    assert video_call(60.0).own_bps == pytest.approx(video_call().own_bps * 1.05)


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match="within_s: expected a finite number > 0, got 0"):
        key_echo(0.0)
    with pytest.raises(InputError, match="rate_bps: expected a finite number > 0, got -1"):
        video_call(rate_bps=-1.0)


@pytest.mark.parametrize(
    ("time_s", "word"),
    [
        (0.05, "at once"), (0.1, "at once"), (0.5, "flow kept"), (3.0, "attention kept"),
        (10.1, "attention lost"), (np.inf, "attention lost"),
    ],
)  # fmt: skip
def test_how_an_answer_feels(time_s, word):
    """Nielsen 1993: 0.1 s as quoted elsewhere, 1 and 10 s values from memory."""
    assert RESPONSE_LIMITS_S == (0.1, 1.0, 10.0)
    assert felt(time_s) == word
