"""Cameras: the table of common practice, and a plan's minutes by hand."""

import numpy as np
import pytest

from linkfit.forecast.cameras import FEEDS, RATE_SIGMA, watching_time_s
from linkfit.forecast.draws import Forecast
from linkfit.site.model import PathLimits
from linkfit.site.plan import Plan
from linkfit.units import DAYS_PER_MONTH


def test_the_table_of_common_practice():
    """kbit/s of H.264 at 1, 5 and 15 frames a second."""
    kbit = {}
    for feed in FEEDS:
        kbit.setdefault(feed.picture, []).append(feed.rate_bps / 1e3)
    assert kbit == {
        "640x360": [500, 500, 1000], "1280x720": [500, 1000, 2000], "1920x1080": [500, 1000, 3000],
    }  # fmt: skip


def test_a_camera_all_day_sends_what_the_trade_says():
    """Common practice: 1080p at 15 frames/s and 3 Mbit/s is 32 GB a day."""
    feed = FEEDS[-1]
    assert feed.name == "1920x1080, 15 frames/s"
    assert feed.rate_bps / 8 * 86400 / 1e9 == pytest.approx(32.4)


def minutes(rng, cap_bytes=60e9, *, counted="both", **options):
    plan = Plan(cap_bytes=cap_bytes, counted=counted)
    return watching_time_s(500e3, plan, PathLimits(), rng=rng, **options)


def test_a_plan_of_60_gb_by_hand(rng):
    """60 GB over 500 kbit/s are 16,000 min of payload; headers and answers take 5 %."""
    found = minutes(rng)
    median_min = float(found.quantile(0.5)) / 60
    # the median of 2000 draws of a spread of 0.3 is known to 0.8 %; five times that
    assert median_min == pytest.approx(16_000 / 1.053, rel=0.042)
    assert float(found.quantile(0.95) / found.quantile(0.05)) == pytest.approx(
        np.exp(2 * 1.645 * RATE_SIGMA), rel=0.1
    )


def test_what_else_the_plan_counts_comes_first(rng):
    world = np.zeros(2000, dtype=np.int32)
    half = Forecast(draws=np.full(2000, 30e9), unit="bytes", world=world)
    more = Forecast(draws=np.full(2000, 90e9), unit="bytes", world=world)
    alone, beside = (float(minutes(rng, used=u).quantile(0.5)) for u in (None, half))
    assert beside == pytest.approx(alone / 2, rel=0.06)
    assert (minutes(rng, used=more).draws == 0).all()


def test_sessions_rounded_up_leave_less(rng):
    """720 sessions of up to 10 MB more: half of it on top, 3.6 of the 60 GB."""
    plain, rounded = (
        minutes(np.random.default_rng(1), rounded_bytes=b).draws for b in (0.0, 7.2e9)
    )
    assert np.median(rounded / plain) == pytest.approx(56.4 / 60, abs=0.003)  # to first order
    idle = minutes(rng, rounded_bytes=61e9)  # more than the plan holds
    assert (idle.draws == 0).all()


def test_a_month_is_not_longer_than_the_server_is_up(rng):
    found = minutes(rng, cap_bytes=1e15, open_frac=0.5)
    assert (found.draws == DAYS_PER_MONTH * 86400 * 0.5).all()


def test_a_plan_without_a_cap_has_no_answer_and_a_counted_direction_matters(rng):
    assert minutes(rng, cap_bytes=None) is None
    up, down = (float(minutes(rng, 1e9, counted=c).quantile(0.5)) for c in ("up", "down"))
    assert down > 10 * up  # only the acknowledgements come down
