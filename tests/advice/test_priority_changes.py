"""Low priority: for bulk that sends in the busy hour, never for what somebody waits for."""

from dataclasses import replace

import pytest

from linkfit.advice.priority_changes import may_yield, priority_changes
from linkfit.forecast.load import site_classes
from linkfit.site.hours import DayWindow
from linkfit.site.kinds import find_kind
from linkfit.site.model import Service, Site, SizeLaw, Task


def task(**values):
    defaults = {"name": "send", "flow": "out", "size": SizeLaw(median_bytes=5e6), "target_s": 60.0}
    return Task(**(defaults | values))


def service(*tasks, **values):
    return Service(**({"name": "bulk", "kind": "own", "n_users": 2, "tasks": tasks} | values))


OTHER = service(task(target_s=2.0), name="watched")


def offered(*services, **values):
    return [c.service for c in priority_changes(Site(name="hut", services=services, **values))]


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("backup", True), ("file-sync", True),  # people wait for neither at the screen
        ("photo-library", False), ("web-app", False), ("chat", False), ("calls", False),
        ("cameras", False), ("remote-shell", False), ("media-streaming", False),
    ],
)  # fmt: skip
def test_only_bulk_kinds_may_wait(kind, expected):
    found = Service(name="one", kind=kind, n_users=2, tasks=find_kind(kind).tasks)
    assert may_yield(found) is expected


@pytest.mark.parametrize(
    ("one", "expected"),
    [
        (service(task()), ["bulk"]),
        (service(task(target_s=15.0)), ["bulk"]),
        (service(task(target_s=14.0)), []),
        (service(task(target_s=2.0, must_carry=False)), ["bulk"]),  # promised to nobody
        (service(task(target_s=None, duration_s=60.0)), []),  # watched as it comes
        (service(task(live=True)), []),
        (service(task(flow="in")), []),  # the carrier puts in order what comes down
        (service(task(size=SizeLaw(median_bytes=8e3))), []),  # over before anybody waits
        (service(task(), priority="low"), []),
        (service(task(), window=(DayWindow(start_h=1.0, end_h=5.0),)), []),  # not there then
    ],
)
def test_what_is_offered(one, expected):
    assert offered(one, OTHER) == expected


def test_nobody_needs_to_make_way_for_nobody():
    assert offered(service(task())) == []


def test_the_change_is_the_same_as_the_site_file_s_own_setting():
    site = Site(name="hut", services=(service(task()), OTHER))
    (change,) = priority_changes(site)
    edited = change.apply(site)
    assert edited.services == (replace(site.services[0], priority="low"), site.services[1])
    assert edited.services[1] is site.services[1]
    low = {flow.name: flow.low_priority for flow in site_classes(edited, "up")}
    assert low == {"bulk: send": True, "watched: send": False}
    assert change.cost.quality_loss_frac == 0.0
    assert change.cost.source.startswith("lower effort: RFC 8622;")
