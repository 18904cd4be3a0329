"""Streams on one link: numbers that agree with each other, by hand on a steady link."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.errors import FitError, InputError
from linkfit.forecast.stream_forecast import LADDER, forecast_streams
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

RNG = np.random.default_rng(8)


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_rates(RNG.lognormal(np.log(8e6), 0.2, 3000), direction="up"))


@pytest.fixture(scope="module")
def found(link):
    return forecast_streams(link, cap_bytes=60e9)


def test_the_ladder_is_common_practice():
    assert [rate / 1e3 for _, rate in LADDER] == [700, 1200, 2500, 5000, 16000]


def test_more_bits_never_play_better(found):
    shares = [one.good.value for one in found.films]
    numbers = [one.n_most for one in found.films]
    waits = [float(one.wait_s.quantile(0.5)) for one in found.films]
    assert shares == sorted(shares, reverse=True)
    assert numbers == sorted(numbers, reverse=True)
    assert waits == sorted(waits)


def test_on_a_calm_link_as_many_fit_as_its_level_carries(found):
    """A median of 8 Mbit/s with a known spread: a stream of 1.2 Mbit/s with 5 % of headers goes
    into it 6 times at most, and a buffer of 30 s bridges what changes within seconds."""
    by_name = {one.name: one for one in found.films}
    assert 4 <= by_name["480p"].n_most <= 6
    assert by_name["480p"].n_most // 2 - 1 <= by_name["720p"].n_most <= 3
    assert by_name["4K"].n_most == 0


@pytest.mark.parametrize(("n_places", "wanted_prob", "erlangs"), [
    # the standard Erlang B table: 15 lines, 1 % as a public page quotes it; the others from memory
    (15, 0.99, 8.108), (1, 0.95, 0.0526), (2, 0.99, 0.153), (10, 0.98, 5.084), (20, 0.99, 12.03),
])  # fmt: skip
def test_starts_that_find_room_are_those_of_erlangs_table(found, n_places, wanted_prob, erlangs):
    film = replace(found.films[0], n_most=n_places, n_low=0, n_high=n_places + 1)
    starts = replace(found, wanted_prob=wanted_prob, session_s=1800.0).starts_per_h(film)
    assert starts.value == pytest.approx(2 * erlangs, rel=3e-3)
    assert starts.low == 0 < starts.value < starts.high


@pytest.mark.parametrize("part", ["films", "feeds"])
def test_numbers_agree_with_verdicts(found, part):
    for one in getattr(found, part):
        assert one.n_low <= one.n_most <= one.n_high
        verdict = one.verdict(found.wanted_prob)
        assert (one.n_low >= 1) == (verdict == "fits")
        assert (one.n_high == 0) == (verdict == "does not fit")
        assert one.good.low <= one.good.value <= one.good.high


def test_months_need_a_plan_and_shrink_with_the_rate(link, found):
    months = [float(one.month_alone.quantile(0.5)) for one in found.feeds]
    assert months[0] == pytest.approx(6 * months[-1], rel=0.01)  # 500 kbit/s and 3 Mbit/s
    assert all(one.month is None for one in found.feeds)
    assert forecast_streams(link).feeds[0].month_alone is None


def test_a_site_takes_its_transfers_and_its_data_first(link, found):
    task = Task(name="add", flow="out", size=SizeLaw(median_bytes=3e6), per_user_day=200.0)
    site = Site(
        name="dig",
        plan=Plan(cap_bytes=60e9),
        path=PathLimits(tunnel_overhead_bytes=60.0),
        services=(Service(name="photos", kind="photo-library", n_users=8, tasks=(task,)),),
    )
    there = forecast_streams(link, site=site)
    # 1,600 photos a day, 12 % of them in the busy hour, of 3 MB: 1.28 Mbit/s of payload
    assert there.load_bps == pytest.approx(1.28e6 * 1.08, rel=0.05)
    for one, other in zip(there.films, found.films, strict=True):
        assert one.n_most <= other.n_most
    feed = there.feeds[0]
    assert feed.month.quantile(0.5) < feed.month_alone.quantile(0.5)


def test_the_plan_of_a_camera_is_that_of_the_data_command(link):
    """Rounding takes half a multiple a session from what is left, the rest of it the same."""
    plain, rounded, capped = (
        forecast_streams(link, site=Site(name="dig", plan=Plan(cap_bytes=60e9, **edit))).feeds[0]
        for edit in ({}, {"round_up_bytes": 5e6}, {"tether_bytes": 30e9})
    )
    ratio = float(rounded.month_alone.quantile(0.5) / plain.month_alone.quantile(0.5))
    assert ratio == pytest.approx(1 - 720 * 2.5e6 / 60e9, abs=0.005)
    half = float(capped.month_alone.quantile(0.5) / plain.month_alone.quantile(0.5))
    assert half == pytest.approx(0.5, abs=1e-6)


def test_a_link_twice_as_fast_never_carries_fewer(link):
    """The same futures, all of them twice as fast."""
    runs = link.up.runs
    faster = replace(runs, rates_bps=2 * runs.rates_bps)
    double = replace(link, up=replace(link.up, runs=faster))
    for slow, fast in zip(
        forecast_streams(link).films, forecast_streams(double).films, strict=True
    ):
        assert fast.good.value >= slow.good.value
        assert fast.n_most >= 2 * slow.n_most


def test_the_same_seed_gives_the_same_answer(link, found):
    again = forecast_streams(link, cap_bytes=60e9)
    assert [one.good for one in again.films] == [one.good for one in found.films]


def test_bad_input_is_named_and_shown(link):
    with pytest.raises(FitError, match="up: expected at least one measurement"):
        forecast_streams(fit_link(Trace.from_quick_numbers(down_bps=2e7)))
    with pytest.raises(InputError, match="wanted_prob: expected a number from 0 to 1, got 2"):
        forecast_streams(link, wanted_prob=2.0)
    with pytest.raises(InputError, match="session_s: expected a finite number > 0, got 0"):
        forecast_streams(link, session_s=0.0)
