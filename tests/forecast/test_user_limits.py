"""How many users a task bears, on links simple enough to count by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.company import Company
from linkfit.forecast.load import service_classes, service_streams
from linkfit.forecast.user_limits import MOST_USERS, UserCurve, bears_load, largest
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import DayWindow
from linkfit.site.model import PathLimits, Service, SizeLaw, Task

PATH = PathLimits()


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_rates(np.full(900, 10e6), direction="up"))


def curve_of(task, link, *, rates_bps=10e6, n_users=2, others=(), world=None):
    service = Service(name="s", kind="x", n_users=n_users, tasks=(task,))
    rates = rates_bps * np.ones(3600)
    paths = CapacityPaths.from_rates(rates, world=world)
    hour = BusyHour(
        link=link,
        paths={"up": paths},
        classes={"up": (*others, *service_classes(service, PATH, "up", n_users))},
        streams={"up": service_streams(service, PATH, "up", n_users)},
        company=Company(100, 1),
    )
    return UserCurve(task, service, PATH, hour, draw=lambda: np.random.default_rng(1), n_probes=100)


def limit_of(task, link, *, exact=True, **more):
    return curve_of(task, link, **more).limit(task.target_s, exact=exact)


def film(rate_bps):
    # half an hour a day: 0.12 of it in the busy hour, so 0.06 run per user
    size = rate_bps / 8 * 1800 * 1448 / 1500
    return Task(
        name="film", flow="out", size=SizeLaw(median_bytes=size), per_user_day=1.0,
        duration_s=1800.0, target_s=10.0,
    )  # fmt: skip


def test_streams_bear_as_many_as_seldom_meet_too_many_others(link):
    # ten of 1 Mbit/s fit in 10. Of n users 0.06 (n - 1) others watch in the mean, by Poisson ten
    # or more of them one time in twenty at a mean of 10.851 / 2 (table of chi-square, 20 degrees
    # of freedom, 5 %): 91 users; 100 runs tell the mean to 0.6 at that level, so n to 10
    limit = limit_of(film(1e6), link)
    assert 78 <= limit.n_users <= 105


def test_a_stream_faster_than_the_link_bears_nobody(link):
    assert limit_of(film(12e6), link).n_users == 0


def test_some_tasks_bring_no_load_and_some_keep_out_of_the_busy_hour():
    echo = Task(name="echo", flow="out", size=SizeLaw(median_bytes=100.0), target_s=1.0)
    get = Task(name="get", flow="out", size=SizeLaw(median_bytes=1e6))
    one = Service(name="s", kind="x", n_users=1, tasks=(echo,))
    assert not bears_load(echo, one, PATH)
    assert bears_load(get, replace(one, tasks=(get,)), PATH)
    night = (DayWindow(start_h=1.0, end_h=5.0),)
    assert not bears_load(get, replace(one, tasks=(get,), window=night), PATH)


def test_a_light_task_stops_at_the_stated_maximum(link):
    light = Task(
        name="look", flow="out", size=SizeLaw(median_bytes=1e4), per_user_day=1.0, target_s=20.0
    )
    limit = limit_of(light, link)
    assert limit.at_limit
    assert limit.n_users == MOST_USERS


def test_twice_the_rate_bears_about_twice_the_users(link):
    heavy = Task(
        name="get", flow="out", size=SizeLaw(median_bytes=2e7, spread=1.3), per_user_day=10.0,
        target_s=120.0,
    )  # fmt: skip
    slow, fast = (limit_of(heavy, link, rates_bps=r).n_users for r in (10e6, 20e6))
    assert slow >= 1
    assert 1.5 <= fast / slow <= 3.5


HEAVY = Task(
    name="get", flow="out", size=SizeLaw(median_bytes=1e7, spread=1.3), per_user_day=20.0,
    target_s=30.0,
)  # fmt: skip


def test_the_limit_is_where_the_curve_crosses_the_target(link):
    curve = curve_of(HEAVY, link, n_users=5)
    found = curve.limit(30.0, exact=True).n_users
    assert curve.time(found).quantile(0.95) <= 30.0 < curve.time(found + 1).quantile(0.95)


@pytest.mark.parametrize("n_users", [0, 1, 7, 150])
def test_the_limit_does_not_depend_on_how_many_there_are(link, n_users):
    assert limit_of(HEAVY, link, n_users=n_users) == limit_of(HEAVY, link, n_users=3)


def test_the_quick_search_is_near_the_exact_one(link):
    exact, quick = (limit_of(HEAVY, link, exact=e, n_users=3).n_users for e in (True, False))
    assert exact * 0.9 <= quick <= exact


def test_adding_users_never_shortens_the_95th_percentile(link):
    curve = curve_of(HEAVY, link)
    tops = [float(curve.time(n).quantile(0.95)) for n in range(0, 40, 3)]
    assert (np.diff(tops) >= 0).all()


def test_worlds_with_less_capacity_bear_fewer_users(link):
    rates = np.repeat(np.linspace(0.6, 1.4, 10), 2)[:, None] * 10e6
    limit = limit_of(HEAVY, link, rates_bps=rates, world=np.repeat(np.arange(10), 2))
    assert limit.n_low < limit.n_users < limit.n_high


@given(
    bears=st.integers(0, 60), near=st.integers(1, 50), exact=st.booleans(),
    bend=st.sampled_from([1, 3, 9]),
)  # fmt: skip
def test_the_search_finds_what_trying_every_number_finds(bears, near, exact, bend):
    tried = []

    def late(n):
        tried.append(n)
        return (n - bears - 0.5) ** bend

    found = largest(late, near=near, n_limit=50, exact=exact)
    wanted = min(bears, 50)
    assert found == wanted if exact else wanted * 0.9 - 1 <= found <= wanted
    assert len(tried) == len(set(tried)) <= 15
