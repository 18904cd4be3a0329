"""Over random sites: taking load away or adding capacity never makes a time or a verdict worse."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.forecast.evaluation import Evaluator
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Cache, PathLimits, Plan, Service, Site, SizeLaw, Task

pytestmark = pytest.mark.slow
PROBES = 60


def measured(up_bps, down_bps=12e6):
    rng = np.random.default_rng(4)
    up, down = (rate * np.exp(0.4 * rng.standard_normal(400)) for rate in (up_bps, down_bps))
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(up, direction="up"),
                Trace.from_rates(down, direction="down"),
                Trace.from_quick_numbers(rtt_s=0.06),
            ]
        )
    )


LINKS = {rate_bps: measured(rate_bps) for rate_bps in (3e6, 6e6)}
TASKS = st.builds(
    Task,
    name=st.just(""),
    flow=st.sampled_from(("out", "in", "both")),
    size=st.builds(
        SizeLaw, median_bytes=st.sampled_from((5e3, 2e5, 3e6, 5e7)), spread=st.floats(1.0, 2.5)
    ),
    n_requests=st.sampled_from((1, 1, 30)),
    per_user_day=st.sampled_from((0.5, 20.0, 150.0)),
    target_s=st.sampled_from((2.0, 20.0, 200.0)),
    duration_s=st.sampled_from((0.0, 0.0, 0.0, 600.0)),
    cache=st.builds(
        Cache, scope=st.sampled_from(("none", "browser")), lifetime_s=st.just(3600.0),
        views_per_object_day=st.just(30.0),
    ),
)  # fmt: skip


@st.composite
def sites(draw):
    services = []
    for number in range(draw(st.integers(1, 3))):
        tasks = [
            replace(task, name=f"task {k}")
            for k, task in enumerate(draw(st.lists(TASKS, min_size=1, max_size=2)))
        ]
        services.append(
            Service(
                name=f"service {number}", kind="x", n_users=draw(st.integers(1, 40)),
                tasks=tuple(tasks),
            )
        )  # fmt: skip
    path = PathLimits(same_link_share_frac=draw(st.sampled_from((0.0, 0.4))))
    return Site(name="s", plan=Plan(), services=tuple(services), path=path)


def forecasts(site, up_bps=3e6, *, limits=False):
    evaluation = Evaluator(LINKS[up_bps], n_probes=PROBES).evaluate(site, limits=limits, exact=True)
    return {
        (task.service, task.task.name): task
        for service in evaluation.services
        for task in service.tasks
    }


def assert_no_worse(better, worse):
    for key, task in better.items():
        before = worse[key]
        assert task.time.quantile(0.95) <= before.time.quantile(0.95) * (1 + 1e-6), key
        assert task.meets_target or not before.meets_target, key
        if task.n_max_users is not None:
            # the quick search tells numbers to a tenth
            assert task.n_max_users >= 0.9 * before.n_max_users - 1, key


@settings(max_examples=12, deadline=None)
@given(sites(), st.data())
def test_removing_load_never_makes_a_verdict_worse(site, data):
    service = data.draw(st.sampled_from(site.services))
    fewer = replace(service, n_users=data.draw(st.integers(1, service.n_users)))
    less = tuple(fewer if one is service else one for one in site.services)
    assert_no_worse(forecasts(replace(site, services=less)), forecasts(site))


@settings(max_examples=8, deadline=None)
@given(sites())
def test_a_service_taken_away_never_makes_the_others_worse(site):
    assert_no_worse(forecasts(replace(site, services=site.services[:1])), forecasts(site))


@settings(max_examples=5, deadline=None)
@given(sites())
def test_doubling_the_uplink_never_makes_a_verdict_worse(site):
    assert_no_worse(forecasts(site, 6e6, limits=True), forecasts(site, limits=True))
