"""Loss counted as delay: equal ratings, and nothing changed where the call is good."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast.activities import CODEC
from linkfit.forecast.call_delay import heard_delay_s
from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.voice import DEVICES_DELAY_S, rating


def unknowns(loss_frac, burst_ratio=1.0):
    loss = np.atleast_1d(np.asarray(loss_frac, float))
    return LatencyUnknowns(
        queue_bits=np.ones(loss.size), rtt_factor=np.ones(loss.size), loss_frac=loss,
        burst_ratio=np.full(loss.size, burst_ratio), queue_source="as stated",
    )  # fmt: skip


def test_a_call_without_loss_is_late_by_its_delay():
    delays_s = np.array([0.05, 0.4, 0.7, np.inf])
    assert (heard_delay_s(delays_s, unknowns(np.zeros(4)), 0.4) == delays_s).all()


def test_a_little_loss_leaves_a_prompt_call_as_it_is_and_much_spoils_it():
    heard = heard_delay_s(np.array([0.05, 0.05, 0.05]), unknowns([0.01, 0.05, 0.3]), 0.4)
    assert heard[:2] == pytest.approx([0.05, 0.05])
    # 30 % of loss: 95 x 30 / 55.1 = 51.7 points, and 3.1 of delay: as bad as 0.55 s in all
    assert heard[2] == pytest.approx((51.72 + 3.12 + 19.503) / 134 - DEVICES_DELAY_S, abs=0.002)


@given(st.floats(0.0, 1.0), st.floats(0.0, 0.5), st.floats(1.0, 2.0))
def test_what_comes_back_above_the_target_is_rated_as_the_call(delay_s, loss_frac, burst_ratio):
    heard = heard_delay_s(np.array([delay_s]), unknowns(loss_frac, burst_ratio), 0.3)
    assert heard >= delay_s
    if heard > 0.3 and loss_frac > 0:
        with_loss = rating(
            CODEC, delay_s=delay_s + DEVICES_DELAY_S, loss_frac=loss_frac, burst_ratio=burst_ratio
        )
        without = rating(CODEC, delay_s=heard + DEVICES_DELAY_S)
        assert without == pytest.approx(with_loss, abs=1e-6)


def test_without_a_target_a_clock_tells():
    assert heard_delay_s(np.array([0.1]), unknowns(0.4), None) == 0.1
