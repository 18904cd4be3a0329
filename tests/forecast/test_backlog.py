"""Backlogs through everything that holds them back: figures of the trade, dates, order, hours."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.forecast.backlog import forecast_backlog, forecast_backlogs
from linkfit.forecast.path_source import backlog_paths
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Backlog, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan


class SteadyLink:
    """A link with one rate in each world."""

    def __init__(self, up_bps, down_bps=None, *, world_sigma=0.0, outage_every_s=None):
        self.rates_bps = {"up": up_bps, "down": down_bps or up_bps}
        self.world_sigma, self.outage_every_s = world_sigma, outage_every_s

    def direction(self, direction):
        return SimpleNamespace(daily=SimpleNamespace(found=False))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        world = np.arange(n_draws) % n_worlds
        level = np.exp(self.world_sigma * rng.standard_normal(n_worlds))[world]
        n_steps = round(horizon_s / step_s)
        rates = np.repeat(level[:, None] * self.rates_bps[direction], n_steps, axis=1)
        if self.outage_every_s and step_s < 60:
            rates[:, np.arange(n_steps) * step_s % self.outage_every_s < 30] = 0.0
        return CapacityPaths.from_rates(rates, step_s, world)


def heap(n_items, median_bytes, spread=1.0, **edit):
    size = SizeLaw(median_bytes=median_bytes, spread=spread)
    return Backlog(**{"name": "b", "n_items": n_items, "size": size, "per_item_s": 0.0, **edit})


# headers and tunnel of this path with what TLS adds: the trade's factor of 1.10
TUNNEL = PathLimits(tunnel_overhead_bytes=1448 - 1500 * 1.01 / 1.10)
BARE = Site(name="x", path=TUNNEL)
PHOTOS = heap(10_000, 3.5e6)


def median_days(site, backlog, link, **options):
    return float(forecast_backlog(site, backlog, link, seed=2, **options).days.quantile(0.5))


# arithmetic with the factor 1.10; 35 GB at 5 Mbit/s, of which 80 % can be used
@pytest.mark.parametrize(("backlog", "rate_bps", "days"), [
    (PHOTOS, 0.8 * 5e6, 21.4 / 24),
    (heap(1000, 300e6), 1.1 * 120e3 * 8, 28.9),  # 300 GB at 120 kB/s of payload
    (heap(1000, 2e9), 1.1 * 6e6, 30.9),  # 2 TB at 6 Mbit/s of payload
])  # fmt: skip
def test_what_people_ask_about(backlog, rate_bps, days):
    forecast = forecast_backlog(BARE, backlog, SteadyLink(rate_bps))
    assert forecast.days.quantile(0.5) == pytest.approx(days, rel=0.03)
    assert forecast.binding == "rate"


def test_a_plan_of_15_gb_takes_billing_months():
    """35 GB x 1.10 through 15 GB a month: 2.6 months, so it ends early in the third."""
    site = replace(BARE, plan=Plan(cap_bytes=15e9, counted="up"))
    forecast = forecast_backlog(site, PHOTOS, SteadyLink(4e6))
    assert 60 < forecast.days.quantile(0.5) < 61
    assert forecast.binding == "data plan"


def test_after_the_cap_the_throttled_rate_goes_on():
    """35 GB x 1.10 at 128 kbit/s: 28 days (arithmetic)."""
    site = replace(BARE, plan=Plan(cap_bytes=1.0, counted="up", throttle_bps=128e3))
    assert median_days(site, PHOTOS, SteadyLink(4e6)) == pytest.approx(27.9, rel=0.03)


def test_a_price_after_the_cap_stops_nothing():
    site = replace(BARE, plan=Plan(cap_bytes=1e9, price_per_gb=4.0))
    assert median_days(site, PHOTOS, SteadyLink(4e6)) == median_days(BARE, PHOTOS, SteadyLink(4e6))


def test_hours_count_from_the_hour_of_the_start():
    morning = replace(BARE, hours=Hours(windows=(DayWindow(start_h=6, end_h=10),)))
    whole = median_days(BARE, PHOTOS, SteadyLink(4e6)) * 24
    assert 20 < whole < 24  # hours: five mornings of four and the rest in the sixth
    rest = (whole - 20) / 24
    assert median_days(morning, PHOTOS, SteadyLink(4e6)) == pytest.approx(5 + 6 / 24 + rest)
    at_8 = median_days(morning, PHOTOS, SteadyLink(4e6), start_h=8.0)
    # two hours today, four mornings of four, the rest from six o'clock of the sixth day on
    assert at_8 == pytest.approx(5 - 2 / 24 + (whole - 18) / 24)
    assert forecast_backlog(morning, PHOTOS, SteadyLink(4e6)).binding == "hours"


def test_power_runs_from_a_full_battery_into_the_long_run():
    weak = Power(battery_wh=500, load_w=30, panel_w=100, sun_hours=3.0)
    site = replace(BARE, hours=Hours(power=weak))
    forecast = forecast_backlog(site, heap(50_000, 3.5e6), SteadyLink(4e6))
    alone = median_days(BARE, heap(50_000, 3.5e6), SteadyLink(4e6))
    assert alone < forecast.days.quantile(0.5) < alone * 24 / 6.0 + 1
    low, high = forecast.days.quantile([0.05, 0.95])
    assert low < high  # sunny and dull days
    assert forecast.binding == "hours"


def test_uncertain_rates_widen_the_date():
    link = SteadyLink(4e6, world_sigma=0.3)
    low, middle, high = forecast_backlog(BARE, PHOTOS, link, seed=2).days.quantile(
        [0.05, 0.5, 0.95]
    )
    assert low < 0.8 * middle
    assert high > 1.2 * middle


def test_services_take_their_load_first():
    clip = Task(name="c", flow="out", size=SizeLaw(median_bytes=1e6), per_user_day=864.0)
    busy = replace(BARE, services=(Service(name="s", kind="cameras", n_users=10, tasks=(clip,)),))
    # 8,640 MB a day in 1.09 x and requests: 0.87 Mbit/s of the 4
    free = median_days(BARE, PHOTOS, SteadyLink(4e6))
    held = median_days(busy, PHOTOS, SteadyLink(4e6))
    assert held / free == pytest.approx(4 / (4 - 0.8 * 1.0895), rel=0.01)


def test_new_items_may_never_end():
    growing = replace(PHOTOS, arrivals_per_day=13_000.0)
    forecast = forecast_backlog(BARE, growing, SteadyLink(4e6))
    assert forecast.days.prob_within(1e9) == 0
    assert forecast.binding == "rate"
    slower = median_days(BARE, replace(PHOTOS, arrivals_per_day=5000.0), SteadyLink(4e6))
    assert slower > median_days(BARE, PHOTOS, SteadyLink(4e6))


def test_deadlines_are_judged_from_the_start():
    link = SteadyLink(4e6, world_sigma=0.3)
    due = replace(PHOTOS, deadline=date(2026, 7, 31))
    assert forecast_backlog(BARE, due, link).prob_by_deadline is None
    assert forecast_backlog(BARE, due, link, start=date(2026, 7, 29)).prob_by_deadline == 1
    at_noon = forecast_backlog(BARE, due, link, start=date(2026, 7, 31), start_h=3.0)
    assert 0 < at_noon.prob_by_deadline < 1  # 21 hours left, 21 needed
    assert at_noon.prob_by_deadline == np.mean(at_noon.days.draws <= 21 / 24)
    assert at_noon.by_deadline.low_prob < at_noon.prob_by_deadline < at_noon.by_deadline.high_prob
    assert forecast_backlog(BARE, due, link, start=date(2026, 8, 1)).prob_by_deadline == 0


@pytest.mark.parametrize(("start", "days"), [
    (date(2026, 7, 5), 31 + 31),  # a fresh cycle: 15, 15 on August 5th, the rest on September 5th
    (date(2026, 7, 25), 11 + 31),  # 11 days left: 15 now, 15, the rest
    (date(2026, 7, 1), 4 + 31),
])  # fmt: skip
def test_the_running_cycle_counts(start, days):
    site = replace(BARE, plan=Plan(cap_bytes=15e9, counted="up", cycle_day=5))
    forecast = forecast_backlog(site, PHOTOS, SteadyLink(4e6), start=start)
    assert forecast.days.quantile(0.5) == pytest.approx(days + 0.19, abs=0.3)


def test_what_goes_before_and_beside():
    other = replace(PHOTOS, name="other")
    both = replace(BARE, backlogs=(PHOTOS, other))
    alone = median_days(BARE, PHOTOS, SteadyLink(4e6))
    assert median_days(both, PHOTOS, SteadyLink(4e6)) == pytest.approx(2 * alone, rel=0.02)
    small = replace(both, backlogs=(PHOTOS, replace(other, n_items=1000)))
    assert median_days(small, PHOTOS, SteadyLink(4e6)) == pytest.approx(1.1 * alone, rel=0.02)
    second = replace(PHOTOS, priority=2)
    first = replace(BARE, backlogs=(second, other))
    assert median_days(first, second, SteadyLink(4e6)) == pytest.approx(2 * alone, rel=0.02)
    assert median_days(first, other, SteadyLink(4e6)) == pytest.approx(alone, rel=0.02)
    apart = replace(BARE, backlogs=(PHOTOS, replace(other, flow="in")))
    assert median_days(apart, PHOTOS, SteadyLink(4e6)) == pytest.approx(alone)


def test_all_at_once_is_each_by_itself():
    three = tuple(replace(PHOTOS, name=name, n_items=1000 * n, priority=p, flow=flow)
                  for name, n, p, flow in (("a", 4, 1, "out"), ("b", 2, 1, "out"),
                                           ("c", 3, 2, "both")))  # fmt: skip
    site = replace(BARE, plan=Plan(cap_bytes=15e9, throttle_bps=128e3), backlogs=three)
    link = SteadyLink(4e6, world_sigma=0.3)
    paths = backlog_paths(link, ("up", "down"), seed=2, n_draws=40)
    together = forecast_backlogs(site, link, paths, seed=2, start=date(2026, 7, 1))
    for one in three:
        alone = forecast_backlog(
            site, one, link, seed=2, start=date(2026, 7, 1), paths=paths, prices=True
        )
        assert alone.days.draws == pytest.approx(together[one.name].days.draws)
        assert alone.binding == together[one.name].binding
        saved = {easing.what: easing.sooner.draws for easing in together[one.name].easings}
        assert list(saved) == [easing.what for easing in alone.easings]
        for easing in alone.easings:
            assert saved[easing.what] == pytest.approx(easing.sooner.draws)
    quick = forecast_backlogs(site, link, paths, seed=2, binding=False)
    assert all(one.easings == () for one in quick.values())
    assert forecast_backlogs(site, link, {"down": paths["down"]}) == {}


def test_both_ways_is_the_slower_way():
    both = replace(PHOTOS, flow="both")
    slow_up = median_days(BARE, both, SteadyLink(1e6, 20e6))
    slow_down = median_days(BARE, both, SteadyLink(20e6, 1e6))
    assert slow_up == pytest.approx(slow_down)
    assert slow_up > median_days(BARE, PHOTOS, SteadyLink(1e6, 20e6))  # acknowledgements as well


def test_what_cannot_resume_pays_for_each_outage():
    videos = heap(50, 500e6)  # 17 minutes each
    link = SteadyLink(4e6, outage_every_s=900.0)
    hasty = replace(BARE, path=replace(TUNNEL, idle_timeout_s=20.0))  # outages last 30 s
    resuming = median_days(hasty, videos, link)
    whole = median_days(hasty, replace(videos, resumable=False), link)
    pieces = median_days(hasty, replace(videos, resumable=False, chunk_bytes=5e6), link)
    assert whole > 1.5 * resuming
    assert pieces < 1.02 * resuming
    # 17 minutes: twice the rate saves more; an hour and more never gets through
    assert forecast_backlog(hasty, replace(videos, resumable=False), link).binding == "rate"
    films = heap(10, 2e9, resumable=False)
    assert forecast_backlog(hasty, films, link).binding == "path limit"
    # a path that waits longer than the outages last breaks nothing
    assert median_days(BARE, replace(videos, resumable=False), link) == resuming


def test_refused_items_are_told():
    relay = replace(BARE, path=PathLimits(entry="relay", body_limit_bytes=5e6))
    forecast = forecast_backlog(relay, heap(1000, 3.5e6, 1.6, flow="in"), SteadyLink(4e6))
    assert "of 1000 items exceed the path's limit of 5.00 MB" in forecast.refused
    assert forecast.binding == "path limit"
    assert np.isfinite(forecast.days.draws).all()


BETTER = {
    "cap": lambda site, backlog, link: (
        replace(site, plan=replace(site.plan, cap_bytes=2 * site.plan.cap_bytes)), backlog, link
    ),
    "panel": lambda site, backlog, link: (
        replace(site, hours=Hours(power=replace(site.hours.power,
                                                panel_w=2 * site.hours.power.panel_w))),
        backlog, link,
    ),
    "battery": lambda site, backlog, link: (
        replace(site, hours=Hours(power=replace(site.hours.power,
                                                battery_wh=2 * site.hours.power.battery_wh))),
        backlog, link,
    ),
    "rate": lambda site, backlog, link: (
        site, backlog, SteadyLink(2 * link.rates_bps["up"], world_sigma=0.3)
    ),
    "hours": lambda site, backlog, link: (
        site, replace(backlog, window=(DayWindow(start_h=22, end_h=10),)), link
    ),
    "items": lambda site, backlog, link: (
        site, replace(backlog, per_item_s=backlog.per_item_s / 2), link
    ),
    "lanes": lambda site, backlog, link: (
        site, replace(backlog, n_parallel=2 * backlog.n_parallel), link
    ),
    "resumable": lambda site, backlog, link: (site, replace(backlog, resumable=True), link),
    "carried over": lambda site, backlog, link: (
        replace(site, plan=replace(site.plan, carry_over_bytes=2 * site.plan.carry_over_bytes)),
        backlog, link,
    ),
    "sessions": lambda site, backlog, link: (
        replace(site, plan=replace(site.plan, sessions_per_day=site.plan.sessions_per_day / 2)),
        backlog, link,
    ),
}  # fmt: skip


@pytest.mark.slow
@settings(deadline=None, max_examples=25)
@given(
    better=st.sampled_from(sorted(BETTER)),
    cap_gb=st.floats(1, 40), counted=st.sampled_from(["both", "up", "down"]),
    throttle=st.sampled_from([None, 128e3]), kept_gb=st.sampled_from([0.0, 0.5, 20.0]),
    multiple_mb=st.sampled_from([None, 0.1, 4.0]), months=st.booleans(),
    start=st.dates(date(2026, 1, 1), date(2026, 12, 31)),
    panel_w=st.floats(20, 200), battery_wh=st.floats(0, 600), rate_bps=st.floats(3e5, 1e7),
    per_item_s=st.sampled_from([0.0, 0.5, 5.0]), resumable=st.booleans(),
    seed=st.integers(0, 50),
)  # fmt: skip
def test_twice_of_what_holds_it_back_never_finishes_later(
    better, cap_gb, counted, throttle, kept_gb, multiple_mb, months, start, panel_w, battery_wh,
    rate_bps, per_item_s, resumable, seed,
):  # fmt: skip
    by_month = (0.5, 1, 2, 3, 4, 6, 6, 5, 4, 2, 1, 0.5) if months else ()
    sun = Power(battery_wh=battery_wh, load_w=20, panel_w=panel_w, sun_hours=3.0,
                sun_hours_by_month=by_month)  # fmt: skip
    plan = Plan(
        cap_bytes=1e9 * cap_gb, counted=counted, throttle_bps=throttle, cycle_day=5,
        carry_over_bytes=1e9 * kept_gb, round_up_bytes=multiple_mb and 1e6 * multiple_mb,
    )  # fmt: skip
    site = replace(BARE, plan=plan, hours=Hours(power=sun))
    backlog = replace(
        PHOTOS, per_item_s=per_item_s, resumable=resumable,
        window=(DayWindow(start_h=22, end_h=4),),
    )  # fmt: skip
    # what cannot resume: more hours may end more often, more lanes take longer for each piece
    if better in ("panel", "battery", "hours", "lanes"):
        backlog = replace(backlog, resumable=True)
    before = (site, backlog, SteadyLink(rate_bps, world_sigma=0.3))

    def days(site, backlog, link):
        return forecast_backlog(
            site, backlog, link, seed=seed, n_draws=20, start=start, binding=False
        ).days.draws

    assert (days(*BETTER[better](*before)) <= days(*before) * (1 + 1e-9) + 1e-9).all()


def test_what_the_cycle_has_used_is_gone():
    """Cap 45 GB, 38.5 to send: at once; with 20 GB used the rest waits for August 5th."""
    for throttle in (None, 1.0):
        plan = Plan(cap_bytes=45e9, counted="up", cycle_day=5, throttle_bps=throttle)
        site = replace(BARE, plan=plan)
        ask = {"start": date(2026, 7, 20)}
        assert median_days(site, PHOTOS, SteadyLink(4e6), **ask) < 1
        used = median_days(site, PHOTOS, SteadyLink(4e6), used_bytes=20e9, **ask)
        assert used == pytest.approx(16.3, abs=0.2)
        assert median_days(site, PHOTOS, SteadyLink(4e6), used_bytes=0.0, **ask) < 1


def test_unused_data_of_the_cycle_before_is_there_for_it():
    """38.5 GB to send up, 15 GB a cycle: with 15 kept of an idle cycle they take one less."""
    plans = [Plan(cap_bytes=15e9, counted="up", carry_over_bytes=kept) for kept in (0.0, 5e9, 15e9)]
    days = [median_days(replace(BARE, plan=plan), PHOTOS, SteadyLink(4e6)) for plan in plans]
    # 15 + 15 + 8.5; 20 + 15 + 3.5; 30 + 8.5
    assert days == pytest.approx([60.21, 60.08, 30.21], abs=0.03)


def test_sessions_rounded_up_leave_it_less():
    """A cap of 30 GB holds 38.5 in two cycles of 29.28: 720 sessions of half a 2 MB multiple."""
    plan = Plan(cap_bytes=30e9, counted="up", round_up_bytes=2e6)
    plain, rounded = (
        forecast_backlog(replace(BARE, plan=one), PHOTOS, SteadyLink(4e6), seed=2).days.draws
        for one in (replace(plan, round_up_bytes=None), plan)
    )
    later_s = (rounded - plain) * 86400  # wire bytes that wait for the second cycle
    assert later_s.mean() == pytest.approx(0.72e9 * 8 / 4e6, rel=0.03)
    assert later_s.min() > 0


def test_it_says_what_its_days_rest_on():
    site = replace(BARE, plan=Plan(cap_bytes=15e9, cycle_day=7))
    dated = forecast_backlog(site, PHOTOS, SteadyLink(4e6), start=date(2026, 7, 20))
    assert dated.assumed == ("the plan's cycles begin on day 7 of each month",)
    (bare,) = forecast_backlog(site, PHOTOS, SteadyLink(4e6)).assumed
    assert bare.startswith("no first day is known, so the plan's cycles are taken as 30 days")
