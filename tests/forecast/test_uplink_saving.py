"""What lifetimes save of the uplink: arithmetic by hand, never worse for longer, from a log."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast.caching import lifetime_hit_frac
from linkfit.forecast.uplink_saving import cached_tasks, uplink_bytes_per_day, uplink_savings
from linkfit.ingest.access_log import AccessLog
from linkfit.site.model import Background, Cache, Service, Site, SizeLaw, Task

WEEK_S = 604800.0


def a_task(name, scope="browser", views=0.5, flow="out", lifetime_s=3600.0, size=1e5):
    cache = Cache(scope=scope, lifetime_s=lifetime_s, views_per_object_day=views)
    return Task(name=name, flow=flow, size=SizeLaw(median_bytes=size), per_user_day=10, cache=cache)


def a_site(*tasks, n_users=4, background=()):
    service = Service(name="s", kind="own", n_users=n_users, tasks=tasks)
    return Site(name="hut", services=(service,), background=background)


def savings(site, *lifetimes_s, log=None, seed=1):
    return uplink_savings(site, lifetimes_s, log=log, rng=np.random.default_rng(seed))


def test_only_what_may_be_kept_and_goes_out_is_counted():
    site = a_site(a_task("a"), a_task("b", scope="none"), a_task("c", flow="in"))
    assert [one.task.name for one in cached_tasks(site)] == ["a"]
    # per day: 4 users x 10 x (100 kB and headers); b costs the same, c its acknowledgements
    a = cached_tasks(site)[0].bytes_per_day
    assert 4e6 < a < 4.5e6
    assert 2 * a < uplink_bytes_per_day(site) < 2.1 * a


def test_the_share_saved_is_the_hits_times_the_share_that_may_be_kept():
    site = a_site(a_task("a"), a_task("b", scope="none"))
    (found,) = savings(site, WEEK_S)
    hits, saved = (float(f.quantile(0.5)) for f in (found.hits, found.saved))
    # one visitor asks for an object each two days: 3.5 hits a fetch at the median of the views
    assert hits == pytest.approx(lifetime_hit_frac(0.5 / 86400, WEEK_S), abs=0.02)
    assert hits == pytest.approx(3.5 / 4.5, abs=0.02)
    assert saved == pytest.approx(hits / 2, rel=1e-3)
    month = float(found.month.quantile(0.5))
    assert month == pytest.approx(saved * uplink_bytes_per_day(site) * 30, rel=1e-3)


def test_a_shared_cache_hears_all_visitors_and_browsers_their_own():
    (browser,) = savings(a_site(a_task("a")), WEEK_S)
    (shared,) = savings(a_site(a_task("a", scope="shared")), WEEK_S)
    assert float(shared.hits.quantile(0.5)) == pytest.approx(14 / 15, abs=0.01)
    assert float(shared.hits.quantile(0.5)) > float(browser.hits.quantile(0.5))


def test_none_stands_for_each_tasks_own_lifetime():
    site = a_site(a_task("a", lifetime_s=WEEK_S), a_task("b", lifetime_s=0.0))
    own, week, nothing = savings(site, None, WEEK_S, 0.0)
    assert float(nothing.saved.quantile(0.95)) == 0
    assert float(own.saved.quantile(0.5)) == pytest.approx(float(week.saved.quantile(0.5)) / 2)


@given(st.floats(0, 1e7), st.floats(0, 1e7), st.integers(0, 9))
def test_a_longer_lifetime_never_saves_less_in_any_future(first_s, second_s, n_users):
    short, long = savings(a_site(a_task("a"), n_users=n_users), *sorted((first_s, second_s)))
    assert np.all(long.saved.draws >= short.saved.draws)
    assert np.all((long.saved.draws >= 0) & (long.saved.draws <= 1))


def test_background_makes_the_share_smaller():
    cause = Background(name="x", bytes_per_day=5e6, flow="out")
    alone, beside = (savings(a_site(a_task("a"), background=b), WEEK_S)[0] for b in ((), (cause,)))
    assert float(beside.saved.quantile(0.5)) < float(alone.saved.quantile(0.5))
    assert float(beside.month.quantile(0.5)) == float(alone.month.quantile(0.5))


def test_a_log_tells_the_hits_instead_of_the_views():
    """Two visitors ask for one object each day for ten days: browsers fetch twice each in 10 d."""
    times = np.repeat(np.arange(10) * 86400.0, 2)
    log = AccessLog(
        times_s=times, object_index=np.zeros(20, np.int64),
        client_index=np.tile([0, 1], 10).astype(np.int64), sizes_bytes=np.ones(20),
        n_lines=20, n_unread=0, n_others=0,
    )  # fmt: skip
    for scope, hits in (("browser", 8 / 10), ("shared", 18 / 20)):
        site = a_site(a_task("a", scope=scope, views=0.0))
        (found,) = savings(site, 5 * 86400.0, log=log)
        assert float(found.hits.quantile(0.5)) == pytest.approx(hits, abs=0.051)
    longer = savings(replace(site, name="x"), 3600.0, 30 * 86400.0, log=log)
    assert np.all(longer[1].hits.draws >= longer[0].hits.draws)


def test_a_site_with_nothing_to_keep_saves_nothing():
    (found,) = savings(a_site(a_task("a", scope="none")), WEEK_S)
    assert found.saved.draws.max() == 0
