"""More of anything good never makes a verdict worse: cap, panel, cache lifetime, uplink doubled."""

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkfit.advice.measures import target_measures
from linkfit.advice.verdict import service_stands
from linkfit.forecast.evaluation import Evaluator
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.hours import Hours, Power
from linkfit.site.kinds import KINDS
from linkfit.site.model import Backlog, PathLimits, Plan, Service, Site, SizeLaw

pytestmark = pytest.mark.slow
STANDS = ("no", "open", "yes")
N_PROBES = 40
KINDS_TRIED = tuple(sorted(KINDS))
FEW = settings(
    max_examples=12, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip


@cache
def evaluator(up_bps):
    link = fit_link(Trace.from_quick_numbers(up_bps=up_bps, down_bps=20e6, rtt_s=0.05), seed=1)
    return Evaluator(link, seed=1, n_probes=N_PROBES)


@st.composite
def sites(draw):
    """From a light load to many times what the link carries."""
    kinds = draw(st.lists(st.sampled_from(KINDS_TRIED), min_size=1, max_size=5, unique=True))
    services = tuple(
        Service(
            name=kind,
            kind=kind,
            n_users=draw(st.sampled_from([1, 3, 8, 25])),
            tasks=KINDS[kind].tasks,
        )
        for kind in kinds
    )
    plan = Plan(
        cap_bytes=draw(st.sampled_from([2e9, 10e9, 50e9])),
        throttle_bps=draw(st.sampled_from([None, 128e3, 1e6])),
    )
    power = Power(
        battery_wh=draw(st.sampled_from([100.0, 400.0])),
        load_w=draw(st.sampled_from([5.0, 14.0])),
        panel_w=draw(st.sampled_from([50.0, 100.0])),
        sun_hours=draw(st.sampled_from([1.0, 3.5])),
    )
    heap = Backlog(name="heap", n_items=draw(st.integers(1, 3000)), size=SizeLaw(median_bytes=3e6))
    return Site(
        name="random", services=services, plan=plan, backlogs=(heap,), hours=Hours(power=power),
        path=PathLimits(same_link_share_frac=draw(st.sampled_from([0.0, 0.4]))),
    )  # fmt: skip


def stands(site, up_bps=4e6):
    """How each service stands, as a rank; the higher the better."""
    evaluation = evaluator(up_bps).evaluate(site, limits=True, exact=True, users=False)
    ranks = {s.service.name: STANDS.index(service_stands(s, evaluation.data))
             for s in evaluation.services}  # fmt: skip
    met = {m.key: m.met for m in target_measures(evaluation)}
    return ranks, met


def assert_not_worse(before, after):
    for old, new in zip(before, after, strict=True):
        worse = {name: (old[name], new[name]) for name in old if new[name] < old[name]}
        assert not worse


@FEW
@given(sites())
def test_twice_the_cap(site):
    wider = replace(site, plan=replace(site.plan, cap_bytes=2 * site.plan.cap_bytes))
    assert_not_worse(stands(site), stands(wider))


@FEW
@given(sites())
def test_twice_the_panel(site):
    power = replace(site.hours.power, panel_w=2 * site.hours.power.panel_w)
    assert_not_worse(stands(site), stands(replace(site, hours=replace(site.hours, power=power))))


@FEW
@given(sites(), st.sampled_from([60.0, 3600.0, 86400.0]))
def test_twice_the_lifetime(site, lifetime_s):
    def kept_for(time_s):
        services = tuple(
            replace(service, tasks=tuple(
                replace(task, cache=replace(task.cache, lifetime_s=time_s))
                for task in service.tasks
            ))
            for service in site.services
        )  # fmt: skip
        return replace(site, services=services)

    assert_not_worse(stands(kept_for(lifetime_s)), stands(kept_for(2 * lifetime_s)))


@FEW
@given(sites(), st.sampled_from([2e6, 4e6, 8e6]))
def test_twice_the_uplink(site, up_bps):
    assert_not_worse(stands(site, up_bps), stands(site, 2 * up_bps))
