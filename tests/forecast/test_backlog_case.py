"""From a site to the steps of a drain: hours, days of the cycle, what others use."""

import calendar
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.forecast.backlog_case import backlog_case, case_days, open_parts
from linkfit.forecast.energy import year_levels
from linkfit.forecast.path_source import backlog_paths, named_rng
from linkfit.forecast.power import hours_by_day
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Background, Backlog, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

PHOTOS = Backlog(name="photos", n_items=1000, size=SizeLaw(median_bytes=3.5e6, spread=1.6))
DAY = Hours(windows=(DayWindow(start_h=6.5, end_h=22),))
SITE = Site(name="x", hours=DAY)
NIGHT = replace(PHOTOS, name="night", window=(DayWindow(start_h=20, end_h=2),))


class Steady:
    def direction(self, direction):
        return SimpleNamespace(daily=SimpleNamespace(found=False))

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        rates = np.full((n_draws, round(horizon_s / step_s)), 4e6)
        return CapacityPaths.from_rates(rates, step_s, np.arange(n_draws) % n_worlds)


class Uneven(Steady):
    """Hours of the day that differ, alike on all days."""

    def __init__(self, rng):
        self.rng = rng

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0, hour=None):
        rates = np.tile(self.rng.uniform(1e5, 1e6, (n_draws, 24)), round(horizon_s / step_s / 24))
        return CapacityPaths.from_rates(rates, step_s, np.arange(n_draws) % n_worlds)


def case(site, start=None, **options):
    paths = backlog_paths(Steady(), ("up",), n_draws=40)
    return backlog_case(site, [PHOTOS], 0, Steady(), paths,
                        **{"seed": 1, "start": start, "start_h": 0.0, **options})  # fmt: skip


def parts(site, backlogs, **options):
    return open_parts(
        site,
        backlogs,
        **{"start": None, "start_h": 0.0, "seed": 1, "world": np.zeros(5, np.int32), **options},
    )


def test_the_common_hours_of_server_and_window():
    up, (photos, night) = parts(SITE, [PHOTOS, NIGHT])
    assert up.shape == (1, 2 * 720)  # the first cycle, and the one that repeats
    assert_allclose(up[:, :720], up[:, 720:])
    assert_allclose(up[0, :24], [0] * 6 + [0.5] + [1] * 15 + [0] * 2)
    assert_allclose(photos, up)
    assert_allclose(night[0, :24], [0] * 20 + [1, 1, 0, 0])


def test_the_clock_begins_at_the_start():
    up, _ = parts(SITE, [PHOTOS], start_h=21.0)
    assert_allclose(up[0, :12], [1] + [0] * 8 + [0.5, 1, 1])  # shut at 22, up again at 6:30


def test_an_hour_more_is_an_hour_more():
    up, (_, night) = parts(SITE, [PHOTOS, NIGHT], extra_h=1.0)
    assert up[0, :24].sum() == 16.5
    assert night[0, :24].sum() == 3.0  # 20 to 23
    sun = Site(name="x", hours=Hours(power=Power(battery_wh=0, load_w=20, panel_w=100,
                                                 sun_hours=3.0)))  # fmt: skip
    before, _ = parts(sun, [])
    after, _ = parts(sun, [], extra_h=1.0)
    assert before.shape == (5, 2 * 720)
    more_h = (after - before).sum(axis=1) / 60
    assert (more_h > 0.8).all()
    assert (more_h <= 1 + 1e-9).all()


@pytest.mark.parametrize(("start", "start_h", "n_days"), [
    (None, 0.0, 30), (None, 20.0, 30), (date(2026, 7, 5), 0.0, 31), (date(2026, 7, 25), 0.0, 11),
    (date(2026, 8, 4), 0.0, 1), (date(2026, 8, 4), 18.0, 0.25), (date(2026, 2, 5), 0.0, 28),
])  # fmt: skip
def test_the_running_cycle_ends_on_its_day(start, start_h, n_days):
    site = replace(SITE, plan=Plan(cap_bytes=60e9, cycle_day=5))
    assert case(site, start, start_h=start_h).cycles.n_first == n_days * 24


def test_cycles_are_those_of_the_calendar_or_thirty_days():
    capped = Plan(cap_bytes=60e9, cycle_day=5)
    found = case_days(replace(SITE, plan=capped), date(2026, 12, 20), 0.0)
    assert [n / 24 for n in found.cycles.lengths] == [
        16, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31,
    ]  # fmt: skip
    assert found.cycles.n_before / 24 == 15
    for site, start in ((replace(SITE, plan=capped), None), (SITE, date(2026, 12, 20))):
        found = case_days(site, start, 0.0)  # no date, or nothing that depends on it
        assert found.calendar is None
        assert found.cycles.lengths == (720, 720)


def test_clocks_go_on_where_the_cycle_before_ended():
    found = case_days(replace(SITE, plan=Plan(cap_bytes=6e9)), date(2026, 12, 20), 18.5)
    clocks = found.clocks_h()
    assert clocks[0][0] == 18.5
    assert abs(clocks[0][-1] - clocks[1][0]) <= 0.5  # steps are whole hours from the start on
    assert [clock[0] / 24 for clock in clocks[1:4]] == [12, 12 + 31, 12 + 31 + 28]


def test_a_price_is_no_cap_and_others_use_theirs():
    updates = Background(name="updates", bytes_per_day=1e9)
    site = replace(SITE, plan=Plan(cap_bytes=60e9), background=(updates,))
    found = case(site)
    assert found.cap_bytes == 60e9
    # background runs while the server is up: 15.5 of 24 hours
    assert np.median(found.others_bytes) * 720 == pytest.approx(30e9 * 15.5 / 24, rel=0.2)
    priced = replace(site, plan=Plan(cap_bytes=60e9, price_per_gb=3.0))
    assert np.isinf(case(priced).cap_bytes)
    assert not case(priced).others_bytes.any()


def test_a_heap_is_the_sum_of_its_items():
    found = case(SITE)
    heap = found.waiting[0].heap_bytes
    assert heap.mean() == pytest.approx(1000 * PHOTOS.size.mean_bytes, rel=0.02)
    assert heap.std() > 0


def test_each_month_has_its_own_sun():
    """The rest of the first month, then the twelve that follow."""
    sun = (1.0,) * 6 + (5.0,) * 6
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=3.0, sun_hours_by_month=sun)
    site = Site(name="x", hours=Hours(power=power), plan=Plan(cycle_day=5))
    up, (photos,) = parts(
        site, [PHOTOS], start=date(2026, 6, 5), world=np.arange(100, dtype=np.int32)
    )
    assert up.shape == photos.shape == (100, (26 + 365) * 24)
    hours = up.reshape(100, 391, 24).sum(axis=2).mean(axis=0)  # by day
    for month, first, n_days in ((6, 1, 25), (7, 26, 31), (1, 210, 31), (6, 361, 30)):
        expected = sun[month - 1] * 100 * 0.6 / 30
        assert hours[first : first + n_days].mean() == pytest.approx(expected, rel=0.1), month
    assert parts(site, [PHOTOS])[0].shape == (5, 2 * 720)  # no start: the mean of the year


def test_shorter_days_make_the_same_people_a_higher_load():
    sun = (2.0,) * 6 + (4.0,) * 6
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=3.0, sun_hours_by_month=sun)
    task = Task(name="t", flow="out", size=SizeLaw(median_bytes=1e6), per_user_day=100.0)
    service = Service(name="s", kind="web-app", n_users=10, tasks=(task,))
    site = Site(name="x", hours=Hours(power=power), services=(service,))
    loads = case(site, date(2026, 6, 11)).load_bps["up"]
    assert loads[0] == pytest.approx(2 * loads[1])  # June against July
    mean = case(site).load_bps["up"]
    assert loads[1] < mean[0] == mean[1] < loads[0]


def test_what_runs_by_itself_uses_less_of_the_plan_in_dark_months():
    sun = (2.0,) * 6 + (4.0,) * 6
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=3.0, sun_hours_by_month=sun)
    feed = Background(name="feed", bytes_per_day=1e8, optional=False)
    plan = Plan(cap_bytes=60e9, round_up_bytes=1e6, cycle_day=1)
    site = Site(name="x", hours=Hours(power=power), background=(feed,), plan=plan)
    found = case(site, date(2026, 6, 1))
    assert found.others_bytes.shape == found.rounded_bytes.shape == (13, 40)
    june, july = found.others_bytes[:2].mean(axis=1) * 24
    assert [june, july] == pytest.approx([1e8 * 4 / 24, 1e8 * 8 / 24], rel=0.02)
    assert (found.rounded_bytes[0] * 24).mean() == pytest.approx(24e6 * 4 / 24, rel=0.02)


def cycle_begin(day, cycle_day):
    """First day of the cycle that holds `day`, found by going back day by day."""
    while day.day != min(cycle_day, calendar.monthrange(day.year, day.month)[1]):
        day -= timedelta(days=1)
    return day


def powered(lasts_h, since_h):
    """Part of an hour with power, `since_h` hours after eight o'clock of the first day."""
    if since_h < 0:
        return 1.0
    return min(max(lasts_h[int(since_h // 24)] - since_h % 24, 0.0), 1.0)


def day_by_day(found, site, start, start_h, draw):
    """Days until the backlog of one future is done, each hour taken by itself on the calendar."""
    plan, power = site.plan, site.hours.power
    n = found.world.size
    n_days = int(np.ceil(case_days(site, start, start_h).clocks_h()[-1][-1] / 24)) + 1
    if power is not None:
        lasts_h = hours_by_day(power, n_days, n, named_rng(1, "sun"), start=start,
                               levels=year_levels(1, 20)[found.world])[draw]  # fmt: skip
    by_kind = np.broadcast_to(found.others_bytes, (len(found.cycles.lengths), n))[:, draw]
    one, begin, number = found.waiting[0], None, -1
    counted, wire = float(one.counted_factor[draw]), float(one.wire_factor[draw])
    left, sent, kept = float(one.heap_bytes[draw]), 0.0, 0.0
    for hour in range((n_days - 2) * 24):
        now = datetime.combine(start, time()) + timedelta(hours=start_h + hour)
        if cycle_begin(now.date(), plan.cycle_day) != begin:
            begin = cycle_begin(now.date(), plan.cycle_day)
            n_hours = 24
            while cycle_begin(begin + timedelta(hours=n_hours), plan.cycle_day) == begin:
                n_hours += 24
            number += 1
            others = float(by_kind[found.cycles.kind(number)]) * n_hours
            # nothing but the others in the cycle before the start
            kept = min(max(found.cap_bytes - (sent if number else others), 0.0),
                       plan.carry_over_bytes)  # fmt: skip
            sent = others  # kept aside from the first hour on
        if power is None:
            up = min(max(min(now.hour + 1, 22) - max(now.hour, 6.5), 0.0), 1.0)
        else:
            up = powered(lasts_h, start_h + hour - 8)
        link_bps = float(found.rate_bps["up"][draw, hour % 720]) / wire
        per_item_s = 8 * PHOTOS.size.mean_bytes / link_bps + PHOTOS.per_item_s
        pace = PHOTOS.size.mean_bytes / per_item_s * 3600 * up
        room = (found.cap_bytes + kept - sent) / counted
        moved = min(pace, max(room, 0.0), left)
        sent += moved * counted
        left -= moved
        if left <= 1e-3:
            return (hour + (moved / pace if pace else 0.0)) / 24
    return np.inf


@pytest.mark.slow
@settings(deadline=None, max_examples=25)
@given(
    start=st.dates(date(2026, 1, 1), date(2028, 12, 31)), start_h=st.integers(0, 23),
    cycle_day=st.integers(1, 31), by_sun=st.booleans(),
    cap_bytes=st.sampled_from([None, 2e9, 3e9]), carry_over_bytes=st.sampled_from([0.0, 1e9, 5e9]),
    draw=st.integers(0, 39),
)  # fmt: skip
def test_agrees_with_the_calendar_walked_hour_by_hour(
    start, start_h, cycle_day, by_sun, cap_bytes, carry_over_bytes, draw
):
    """To an hour: the walk takes an hour as even that opens at half past."""
    sun = (0.3, 0.5, 1, 2, 3, 4, 4, 3, 2, 1, 0.5, 0.3)
    power = Power(battery_wh=200, load_w=30, panel_w=60, sun_hours=1.8, sun_hours_by_month=sun)
    rng = np.random.default_rng(4)
    updates = Background(name="updates", bytes_per_day=1e7, flow="in")
    plan = Plan(cap_bytes=cap_bytes, cycle_day=cycle_day)
    if cap_bytes:
        plan = replace(plan, carry_over_bytes=carry_over_bytes)
    elif not by_sun:
        return  # nothing depends on the calendar
    site = Site(
        name="x", hours=Hours(power=power) if by_sun else DAY, plan=plan,
        background=(updates,) if cap_bytes else (),
    )  # fmt: skip
    heavy = replace(PHOTOS, n_items=3000)
    paths = backlog_paths(Uneven(rng), ("up",), n_draws=40)
    found = backlog_case(site, [heavy], 0, Steady(), paths, seed=1, start=start, start_h=start_h)
    found = found.edited(load_bps={"up": 0.0})
    slow = day_by_day(found, site, start, start_h, draw)
    assert found.days()[draw] == pytest.approx(slow, abs=1 / 24)


def test_a_backlog_that_waits_for_summer_ends_in_it():
    dark = (0.0,) * 5 + (6.0,) * 3 + (0.0,) * 4
    power = Power(battery_wh=1, load_w=30, panel_w=200, sun_hours=1.5, sun_hours_by_month=dark)
    site = Site(name="x", hours=Hours(power=power))
    # from noon on, since the night before the start has power
    days = case(site, date(2026, 1, 1), start_h=12.0).days()
    assert (days > 150.5).all()  # June 1st
    assert (days < 160).all()


def test_after_the_first_cycle_the_battery_is_no_longer_full():
    weak = Power(battery_wh=3000, load_w=30, panel_w=100, sun_hours=3.0)
    up, _ = parts(Site(name="x", hours=Hours(power=weak)), [], world=np.arange(100, dtype=np.int32))
    first, later = up.reshape(100, 2, 720).mean(axis=(0, 2)) * 24
    assert later == pytest.approx(3.0 * 100 * 0.6 / 30, rel=0.05)  # what the sun gives
    assert first == pytest.approx(later + 3000 * 0.85 / 30 / 30, rel=0.05)


def test_years_and_panels_differ_from_world_to_world():
    """The long run of a world is what its year's sun brings, as `linkfit power` has it."""
    weak = Power(battery_wh=0, load_w=30, panel_w=60, sun_hours=3.0)
    world = np.repeat(np.arange(40, dtype=np.int32), 5)
    up, _ = parts(Site(name="x", hours=Hours(power=weak)), [], world=world)
    means = up[:, 720:].reshape(40, -1).mean(axis=1)
    levels = year_levels(1, 40)
    # thirty days of five draws: a spread of 0.53 of a day leaves 0.043
    assert_allclose(means / means.mean(), levels / levels.mean(), atol=5 * 0.043)
    assert np.corrcoef(np.log(means), np.log(levels))[0, 1] > 0.9
