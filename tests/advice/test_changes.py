"""All candidates of a site: they apply, keep the promise, and never add what they should save."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkfit.advice.changes import candidate_changes
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

READ_ONLY = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None
)


def test_every_change_is_named_apart_moves_the_site_and_is_idempotent(camp, rates):
    changes = candidate_changes(camp, rates)
    assert len({change.name for change in changes}) == len(changes) > 40
    for change in changes:
        edited = change.apply(camp)
        assert edited != camp, change.name
        assert change.apply(edited) is edited, change.name


def test_each_change_leaves_the_services_it_does_not_name_as_the_same_objects(camp, rates):
    for change in candidate_changes(camp, rates):
        if change.setting == "local name":  # one resolver serves all
            continue
        for old, new in zip(camp.services, change.apply(camp).services, strict=True):
            assert new is old or old.name == change.service, change.name


def test_no_change_takes_away_what_a_service_promises(camp, rates):
    """Floors: tasks, users, targets and flows stay; pictures and video keep a least size."""
    for change in candidate_changes(camp, rates):
        for old, new in zip(camp.services, change.apply(camp).services, strict=True):
            assert (new.n_users, new.kind) == (old.n_users, old.kind)
            for was, task in zip(old.tasks, new.tasks, strict=True):
                assert (task.name, task.flow, task.target_s) == (was.name, was.flow, was.target_s)
                if was.must_carry and "how often" not in change.setting:
                    assert task.per_user_day == was.per_user_day, change.name
                if was.image is not None:
                    least_px = 160 if was.image.role == "thumbnail" else 720
                    assert task.image.edge_px >= least_px
                    assert task.image.quality >= 75


def test_the_kinds_of_change_that_the_camp_gets(camp, rates):
    """One of each family: pictures, caches, video, background, polls, backup, pace, names."""
    whats = {change.what for change in candidate_changes(camp, rates)}
    assert whats >= {
        "long edge of stored photos", "long edge of thumbnails", "encoder quality of stored photos",
        "format of stored photos", "lifetime in the browser cache (open the grid)",
        "lifetime in the shared cache at the edge (first view)", "camera picture and frame rate",
        "traffic of weather desk updates", "interval of poll for changes",
        "interval of health check from outside", "how often daily delta runs",
        "local name for clients on the same link", "interval of the tunnel's keepalive",
        "priority of what it sends",
        "rate limit of each transfer of night copies", "hours of night copies",
        "rate limit of season photos, all its transfers together",
        "data plan", "chunk size of add a clip", "transfers at once of season photos",
    }  # fmt: skip


def test_no_two_settings_have_the_same_title(camp, rates):
    settings_of = {}
    for change in candidate_changes(camp, rates):
        settings_of.setdefault((change.service, change.what), set()).add(change.setting)
    assert {title: found for title, found in settings_of.items() if len(found) > 1} == {}


def test_without_rates_of_the_link_no_pace_is_proposed(camp):
    whats = {change.what for change in candidate_changes(camp)}
    assert not any(what.startswith(("rate limit", "chunk size")) for what in whats)


def test_a_site_with_nothing_to_change_gets_nothing(rates):
    task = Task(name="report", flow="in", size=SizeLaw(median_bytes=300.0), target_s=4.0)
    service = Service(name="weather mast", kind="sensors", n_users=1, tasks=(task,))
    assert candidate_changes(Site(name="hut", services=(service,)), rates) == ()
    larger = candidate_changes(Site(name="hut", plan=Plan(cap_bytes=1e9)), rates)
    assert {change.setting for change in larger} == {"data plan"}  # which only money buys


def offered_bytes_per_day(site):
    """Mean payload a day before caches, with the background: what the edits act on."""
    tasks = sum(
        task.mean_bytes * task.per_user_day * service.n_users
        for service in site.services
        for task in service.tasks
    )
    return tasks + sum(cause.bytes_per_day for cause in site.background)


@READ_ONLY
@given(index=st.integers(0, 10**6), users=st.integers(1, 500))
def test_no_change_ever_offers_more_bytes(camp, rates, index, users):
    crowded = replace(
        camp, services=tuple(replace(service, n_users=users) for service in camp.services)
    )
    changes = candidate_changes(crowded, rates)
    change = changes[index % len(changes)]
    before = offered_bytes_per_day(crowded)
    assert offered_bytes_per_day(change.apply(crowded)) <= before * (1 + 1e-12), change.name


@READ_ONLY
@given(first=st.integers(0, 10**6), second=st.integers(0, 10**6))
def test_changes_of_two_settings_do_not_depend_on_their_order(camp, rates, first, second):
    changes = candidate_changes(camp, rates)
    one, other = changes[first % len(changes)], changes[second % len(changes)]
    if one.setting == other.setting:
        return
    there, back = other.apply(one.apply(camp)), one.apply(other.apply(camp))
    assert offered_bytes_per_day(there) == pytest.approx(offered_bytes_per_day(back))
    assert one.apply(there) is there
