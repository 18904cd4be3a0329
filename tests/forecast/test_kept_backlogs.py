"""Backlogs of edits of one site: the same as forecast afresh, unless nearly the same will do."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.forecast.backlog import forecast_backlogs
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.kept_backlogs import KeptBacklogs
from linkfit.forecast.path_source import backlog_paths
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Backlog, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

TASK = Task(name="get", flow="out", size=SizeLaw(median_bytes=2e6), per_user_day=40.0)
SITE = Site(
    name="s",
    services=(Service(name="web", kind="x", n_users=20, tasks=(TASK,)),),
    backlogs=(
        Backlog(name="films", n_items=2000, size=SizeLaw(median_bytes=5e6), flow="out"),
        Backlog(name="copies", n_items=10, size=SizeLaw(median_bytes=5e6), flow="in"),
    ),
    plan=Plan(cap_bytes=200e9),
)


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_rates(np.full(900, 4e6), direction="up"))


@pytest.fixture
def days(link):
    kept = KeptBacklogs(link, seed=3, start=None, data_kept={})

    def of(site, *, apart_frac=0.0):
        data = forecast_data(site, seed=3)
        found = kept.forecast(site, data, binding=False, apart_frac=apart_frac)
        assert [one.backlog for one in found] == list(site.backlogs)
        assert found[1].unmeasured == "down"
        return found[0].days.draws

    return of


def with_users(n_users):
    return replace(SITE, services=(replace(SITE.services[0], n_users=n_users),))


def afresh(site, link):
    paths = backlog_paths(link, ("up",), seed=3)
    return forecast_backlogs(site, link, paths, seed=3, binding=False)["films"].days.draws


def test_days_are_those_of_each_site_afresh(days, link):
    for site in (SITE, with_users(21), with_users(60), SITE):
        assert (days(site) == afresh(site, link)).all()


def test_a_load_that_hardly_differs_leaves_the_days_and_another_does_not(days, link):
    as_it_is = days(SITE)
    assert (days(with_users(21), apart_frac=0.05) == as_it_is).all()
    assert (days(with_users(60), apart_frac=0.05) == afresh(with_users(60), link)).all()
    # what was good enough for a search is not taken for the exact answer afterwards
    assert (days(with_users(21)) == afresh(with_users(21), link)).all()
    assert (days(with_users(21)) != as_it_is).any()


def test_another_plan_is_another_case_however_small_the_load(days, link):
    days(SITE)
    tight = replace(SITE, plan=Plan(cap_bytes=60e9))
    assert (days(tight, apart_frac=0.5) == afresh(tight, link)).all()


def test_a_site_without_backlogs_has_none(link):
    kept = KeptBacklogs(link, seed=3, start=None, data_kept={})
    site = replace(SITE, backlogs=())
    assert kept.forecast(site, forecast_data(site), binding=True, apart_frac=0.0) == ()
