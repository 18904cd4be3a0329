"""evaluate: one Site on one LinkModel; the same seed, the same numbers; edits stay local."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from linkfit.forecast.evaluation import Evaluator, evaluate
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Background, Backlog, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

PROBES = 100


def series(mean_bps, n=1800, seed=3):
    """Rates with a memory of some seconds around `mean_bps`."""
    rng = np.random.default_rng(seed)
    level = np.convolve(rng.standard_normal(n + 20), np.ones(20) / np.sqrt(20), "valid")[:n]
    return mean_bps * np.exp(0.4 * level - 0.08)


@pytest.fixture(scope="module")
def link():
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(series(24e6), direction="down"),
                Trace.from_rates(series(6e6), direction="up"),
                Trace.from_quick_numbers(rtt_s=0.055),
            ]
        )
    )


def task(name="look", **changes):
    values = {"flow": "out", "size": SizeLaw(median_bytes=2e5, spread=1.6), "per_user_day": 20.0}
    return Task(**{"name": name, "target_s": 2.0, **values, **changes})


def service(name="photos", tasks=None, **changes):
    return Service(
        **{"name": name, "kind": "x", "n_users": 5, "tasks": tasks or (task(),), **changes}
    )


def site(*services, **changes):
    return Site(name="camp", services=services or (service(),), **changes)


def test_a_light_task_fits_and_bears_more_users_than_it_has(link):
    ev = evaluate(site(), link, n_probes=PROBES)
    look = ev.services[0].tasks[0]
    assert look.meets_target
    assert ev.services[0].meets_targets
    assert look.n_max_users is not None
    assert look.n_max_users > 5
    assert look.n_max_users_low <= look.n_max_users <= look.n_max_users_high


def test_the_same_seed_gives_the_same_numbers_and_another_seed_others(link):
    first, again = (evaluate(site(), link, seed=4, n_probes=PROBES) for _ in range(2))
    other = evaluate(site(), link, seed=5, n_probes=PROBES)
    draws = [ev.services[0].tasks[0].time.draws for ev in (first, again, other)]
    assert_array_equal(draws[0], draws[1])
    assert (draws[0] != draws[2]).any()


def test_an_edit_of_one_service_leaves_the_draws_of_a_light_other_alone(link):
    shell = service("shell", (task("echo", flow="both", size=SizeLaw(median_bytes=100.0)),))
    other = service("shell", (task("echo", flow="both", size=SizeLaw(median_bytes=120.0)),))
    maker = Evaluator(link, n_probes=PROBES)
    before = maker.evaluate(site(service(), shell), limits=False)
    after = maker.evaluate(site(service(), other), limits=False)
    assert_array_equal(
        before.services[0].tasks[0].time.draws, after.services[0].tasks[0].time.draws
    )


def test_a_service_that_missed_its_target_does_not_meet_it(link):
    slow = service(tasks=(task(size=SizeLaw(median_bytes=5e7)),))
    ev = evaluate(site(slow), link, n_probes=PROBES)
    assert not ev.services[0].meets_targets
    assert ev.services[0].tasks[0].n_max_users == 0
    assert ev.services[0].tasks[0].prob_within_target == 0


def test_upkeep_that_may_wait_does_not_spoil_the_verdict(link):
    late = task("updates", size=SizeLaw(median_bytes=5e8), must_carry=False, per_user_day=0.01)
    ev = evaluate(site(service(tasks=(task(), late))), link, n_probes=PROBES)
    assert not ev.services[0].tasks[1].meets_target
    assert ev.services[0].meets_targets


def test_what_works_at_the_throttled_rate_is_told_apart(link):
    plan = Plan(cap_bytes=1e9, throttle_bps=128e3)
    light = service("chat", (task("message", size=SizeLaw(median_bytes=500.0)),), n_users=1)
    heavy = service("photos", (task(size=SizeLaw(median_bytes=5e5)),), n_users=1)
    ev = evaluate(site(light, heavy, plan=plan), link, n_probes=PROBES)
    assert [s.works_throttled for s in ev.services] == [True, False]
    assert all(s.works_throttled is None for s in evaluate(site(), link, n_probes=50).services)


def test_nothing_works_once_a_plan_that_stops_is_used_up(link):
    stops = site(plan=Plan(cap_bytes=1e9))
    assert [s.works_throttled for s in evaluate(stops, link, n_probes=50).services] == [False]


def test_only_the_directions_that_the_site_uses_must_be_measured():
    up_only = fit_link(Trace.from_rates(series(6e6), direction="up"))
    assert evaluate(site(), up_only, n_probes=50).services[0].tasks[0].time.draws.size == 50


def test_what_crosses_a_direction_never_measured_is_marked_and_the_rest_is_forecast():
    up_only = fit_link(Trace.from_rates(series(6e6), direction="up"))
    heap = Backlog(name="heap", n_items=10, size=SizeLaw(median_bytes=1e6), flow="in")
    asked = site(
        service(tasks=(task(), task("add", flow="in"))),
        path=PathLimits(same_link_share_frac=0.3),
        backlogs=(heap,),
        plan=Plan(cap_bytes=1e9, throttle_bps=5e6),
    )
    ev = evaluate(asked, up_only, n_probes=50)
    look, add = ev.services[0].tasks
    assert (look.unmeasured, add.unmeasured) == ("", "down")
    assert np.isfinite(look.time.draws).all()
    assert not add.meets_target
    assert add.n_max_users is None
    assert ev.services[0].works_throttled  # of what is known
    assert ev.backlogs[0].unmeasured == "down"
    assert any("clients on the same link are left out" in note for note in ev.notes)


def test_a_window_of_its_own_is_noted(link):
    night = service("backup", window=(DayWindow(start_h=1, end_h=5),))
    notes = evaluate(site(night), link, n_probes=50).notes
    assert any("backup" in note for note in notes)


@settings(max_examples=10, deadline=None)
@given(st.floats(1.1, 4.0))
def test_larger_payloads_never_take_less_time(factor):
    link = fit_link(Trace.from_rates(series(6e6, 600), direction="up"))
    maker = Evaluator(link, n_probes=50)
    small = service(tasks=(task(size=SizeLaw(median_bytes=2e5)),))
    large = replace(small, tasks=(task(size=SizeLaw(median_bytes=2e5 * factor)),))
    times = [
        maker.evaluate(site(one), limits=False).services[0].tasks[0].time for one in (small, large)
    ]
    assert (times[1].quantile([0.05, 0.5, 0.95]) >= times[0].quantile([0.05, 0.5, 0.95])).all()


def test_the_number_of_users_never_contradicts_the_time_beside_it(link):
    heavy = task(size=SizeLaw(median_bytes=1.1e6, spread=1.4))
    for n_users in (1, 5, 40, 120):
        ev = evaluate(site(service(tasks=(heavy,), n_users=n_users)), link, n_probes=PROBES)
        look = ev.services[0].tasks[0]
        assert (look.n_max_users >= n_users) == look.meets_target
        assert look.n_max_users_low <= look.n_max_users <= look.n_max_users_high


def test_what_the_path_refuses_bears_nobody(link):
    clip = task("clip", flow="in", size=SizeLaw(median_bytes=130e6), target_s=3600.0)
    path = PathLimits(entry="relay", body_limit_bytes=100e6)
    ev = evaluate(site(service(tasks=(clip,)), path=path), link, n_probes=PROBES)
    assert ev.services[0].tasks[0].n_max_users == 0


def test_with_a_first_day_the_sun_of_its_month_holds(link):
    sun = (1.0,) * 5 + (6.0,) * 2 + (1.0,) * 5
    power = Power(battery_wh=0, load_w=30, panel_w=100, sun_hours=2.0, sun_hours_by_month=sun)
    feed = Background(name="feed", bytes_per_day=90e6)
    asked = Site(name="x", hours=Hours(power=power), background=(feed,))
    winter, summer, whole = (
        Evaluator(link, start=start).evaluate(asked)
        for start in (date(2026, 1, 1), date(2026, 6, 1), None)
    )
    uses = [float(one.data.use.draws.mean()) / 30 for one in (winter, summer, whole)]
    assert uses == pytest.approx([90e6 * h / 24 for h in (2, 12, 4)], rel=0.03)
    assert any("the sun of 30 days from 2026-06-01 on" in note for note in summer.notes)
    assert any("since no date is given" in note for note in whole.notes)
