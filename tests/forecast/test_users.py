"""How many users a service bears: by hand on a constant link, and in agreement with the verdict."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.evaluation import evaluate
from linkfit.forecast.users import forecast_users
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.hours import DayWindow
from linkfit.site.model import PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

PROBES = 60


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(1)
    rates = [np.clip(rng.normal(6e6, 1e6, 600), 1e6, None) for _ in range(2)]
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(rates[0], direction="up"),
                Trace.from_rates(rates[1], direction="down"),
                Trace.from_quick_numbers(rtt_s=0.055),
            ]
        )
    )


def task(name="get", **more):
    more = {"flow": "out", "size": SizeLaw(median_bytes=2e6, spread=1.3), "per_user_day": 40.0,
            "target_s": 20.0, **more}  # fmt: skip
    return Task(name=name, **more)


def site(*tasks, n_users=4, **more):
    photos = Service(name="photos", kind="x", n_users=n_users, tasks=tasks or (task(),))
    return Site(name="s", plan=Plan(), services=(photos,), **more)


def test_the_limit_agrees_with_the_verdict_and_the_curve(link):
    found = forecast_users(site(), link, service="photos", n_probes=PROBES, up_to=400)
    [one] = found.services
    most = one.limit.n_users
    times = dict(one.tasks[0].curve)
    assert times[most].quantile(0.95) <= 20.0 < times[most + 1].quantile(0.95)
    for n_users in (most, most + 1):
        verdict = evaluate(site(n_users=n_users), link, n_probes=PROBES).services[0].tasks[0]
        assert verdict.meets_target is (n_users == most)
        assert_allclose(verdict.time.draws, times[n_users].draws)


def test_the_direction_that_fills_is_counted_by_hand(link):
    [one] = forecast_users(site(), link, n_probes=PROBES).services
    assert one.fills_first.direction == "up"
    # 40 a day of 2 MB x exp(ln(1.3)^2 / 2), 12 % of them in one hour, headers of 1500 to 1448
    each_bps = 40 * 0.12 / 3600 * 2e6 * np.exp(np.log(1.3) ** 2 / 2) * 8 * 1500 / 1448
    assert_allclose(one.fills_first.n_full.quantile(0.5), 6e6 / each_bps, rtol=0.1)
    assert_allclose(one.fills_first.busy_frac(10), 10 * each_bps / 6e6, rtol=0.1)


def test_both_directions_fill_where_clients_are_on_the_same_link(link):
    half = site(path=PathLimits(same_link_share_frac=0.5))
    [one] = forecast_users(half, link, n_probes=PROBES).services
    up, down = (next(u for u in one.uses if u.direction == way) for way in ("up", "down"))
    assert_allclose(down.one_user_frac, up.one_user_frac / 2, rtol=0.1)


def test_the_promised_task_that_is_first_slow_decides(link):
    tasks = (task(), task("look", target_s=8.0), task("upkeep", target_s=1.0, must_carry=False))
    [one] = forecast_users(site(*tasks), link, n_probes=PROBES).services
    assert one.first_slow == "look"
    limits = {t.task.name: t.limit.n_users for t in one.tasks}
    assert limits["upkeep"] < one.limit.n_users == limits["look"] < limits["get"]
    assert one.limit.n_low <= one.limit.n_users <= one.limit.n_high


def test_what_users_do_not_slow_has_no_limit_unless_it_is_late_already(link):
    echo = task("echo", size=SizeLaw(median_bytes=100.0), target_s=5.0)
    late = task("late", size=SizeLaw(median_bytes=100.0), target_s=0.001)
    [one] = forecast_users(site(echo, late), link, n_probes=PROBES).services
    assert one.tasks[0].limit is None
    assert one.tasks[1].limit.n_users == 0


def test_a_service_with_a_window_keeps_out_of_the_busy_hour(link):
    whole = site()
    night = replace(whole.services[0], window=(DayWindow(start_h=1.0, end_h=5.0),))
    [one] = forecast_users(
        replace(whole, services=(night,)), link, service="photos", n_probes=PROBES
    ).services
    assert one.limit is one.fills_first is None
    tops = [time.quantile(0.95) for _, time in one.tasks[0].curve]
    assert len(set(map(float, tops))) == 1


def test_what_the_path_refuses_bears_nobody(link):
    path = PathLimits(entry="relay", body_limit_bytes=1e5)
    [one] = forecast_users(
        site(task(flow="in"), path=path), link, service="photos", n_probes=PROBES
    ).services
    assert one.limit.n_users == 0
    assert "body limit" in one.tasks[0].refused
    assert one.tasks[0].curve == ()


def test_what_was_never_measured_is_marked():
    rates = np.random.default_rng(1).normal(6e6, 5e5, 300)
    up_only = fit_link(Trace.from_rates(rates, direction="up"))
    [one] = forecast_users(site(task(flow="in")), up_only, n_probes=PROBES).services
    assert (one.limit, one.tasks[0].unmeasured) == (None, "down")


def test_unknown_names_are_told_with_the_known_ones(link):
    with pytest.raises(InputError, match=r"--service: expected one of 'photos', got 'x'"):
        forecast_users(site(), link, service="x")
    with pytest.raises(InputError, match=r"--task: expected one of 'get', got 'x'"):
        forecast_users(site(), link, task="x")
