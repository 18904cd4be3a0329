"""How many users a task bears, on links simple enough to count by hand."""

import numpy as np
import pytest

from linkfit.forecast.load import service_classes, stream_load_bps
from linkfit.forecast.task_times import BusyHour, task_draws
from linkfit.forecast.user_limits import MOST_USERS, task_user_limit
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import PathLimits, Service, SizeLaw, Task

PATH = PathLimits()


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_rates(np.full(900, 10e6), direction="up"))


def limit_of(task, link, *, rate_bps=10e6, n_users=2):
    service = Service(name="s", kind="x", n_users=n_users, tasks=(task,))
    hour = BusyHour(
        link=link,
        paths={"up": CapacityPaths.from_rates(np.full(3600, rate_bps))},
        classes={"up": service_classes(service, PATH, "up", n_users)},
        stream_bps={"up": stream_load_bps(service, PATH, "up")},
        left={"up": CapacityPaths.from_rates(np.full(3600, rate_bps))},
    )
    rng = np.random.default_rng(1)
    draws = task_draws(task, service, PATH, hour, rng=rng, n_probes=100)
    return task_user_limit(task, service, PATH, hour, draws, rng=rng, n_probes=100)


def film(rate_bps):
    # half an hour a day: 0.12 of it in the busy hour, so 0.06 run per user
    size = rate_bps / 8 * 1800 * 1448 / 1500
    return Task(
        name="film", flow="out", size=SizeLaw(median_bytes=size), per_user_day=1.0,
        duration_s=1800.0, target_s=10.0,
    )  # fmt: skip


def test_streams_bear_what_the_rate_divides_to(link):
    # n users run 0.06 n streams of 1 Mbit/s in the mean; one stream needs what the others leave:
    # 10 - (0.06 n - 1) >= 1 Mbit/s, and with a wait of 10 s for 1800 s a little less
    limit = limit_of(film(1e6), link)
    assert 160 <= limit.n_users <= 170
    assert limit.n_low == limit.n_users == limit.n_high


def test_a_stream_faster_than_the_link_bears_nobody(link):
    assert limit_of(film(12e6), link).n_users == 0


def test_a_task_without_a_target_or_without_load_has_no_limit(link):
    echo = Task(name="echo", flow="out", size=SizeLaw(median_bytes=100.0), target_s=1.0)
    assert limit_of(echo, link) is None
    free = Task(name="free", flow="out", size=SizeLaw(median_bytes=1e6))
    assert limit_of(free, link) is None


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
    slow, fast = (limit_of(heavy, link, rate_bps=r).n_users for r in (10e6, 20e6))
    assert slow >= 1
    assert 1.5 <= fast / slow <= 3.5
