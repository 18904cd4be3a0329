"""Background, polls, keepalive, weekly backup, local names."""

from dataclasses import replace

import pytest

from linkfit.advice.traffic_changes import is_poll, traffic_changes
from linkfit.site.background import default_background
from linkfit.site.model import Background, PathLimits, Service, Site, SizeLaw, Task


def settings_of(site):
    return {change.setting for change in traffic_changes(site)}


def test_only_optional_causes_that_use_data_can_go():
    causes = (
        Background(name="news feed", bytes_per_day=1e6),
        Background(name="time sync", bytes_per_day=1e5, optional=False),
        Background(name="off already", bytes_per_day=0.0),
    )
    site = Site(name="hut", background=causes)
    assert settings_of(site) == {"background news feed"}
    (change,) = traffic_changes(site)
    assert [cause.bytes_per_day for cause in change.apply(site).background] == [0.0, 1e5, 0.0]


@pytest.mark.parametrize(
    ("keepalive_s", "expected"),
    [(15.0, ["25 s", "60 s", "110 s"]), (25.0, ["60 s", "110 s"]), (120.0, [])],
)
def test_the_keepalive_becomes_rarer_with_its_traffic(keepalive_s, expected):
    path = PathLimits(entry="relay", keepalive_s=keepalive_s)
    site = Site(name="hut", path=path, background=default_background(path))
    found = [change for change in traffic_changes(site) if change.setting == "keepalive"]
    assert [change.after_text for change in found] == expected
    for change in found:
        edited = change.apply(site)
        # the same bytes as a site file with that interval would have had from the start
        wanted = [cause.bytes_per_day for cause in default_background(edited.path)]
        assert [cause.bytes_per_day for cause in edited.background] == pytest.approx(wanted)


def test_a_relay_without_a_said_interval_has_the_default():
    path = PathLimits(entry="relay")
    site = Site(name="hut", path=path, background=default_background(path))
    found = [change for change in traffic_changes(site) if change.setting == "keepalive"]
    assert [change.before_text for change in found] == ["25 s", "25 s"]
    assert settings_of(Site(name="hut")) == set()


def test_a_local_name_is_for_sites_with_clients_on_the_same_link(camp):
    assert "local name" in settings_of(camp)
    remote = replace(camp, path=replace(camp.path, same_link_share_frac=0.0))
    assert "local name" not in settings_of(remote)
    done = replace(camp, services=tuple(replace(s, local_name=True) for s in camp.services))
    assert "local name" not in settings_of(done)


def poll(**values):
    defaults = {"name": "ask", "flow": "both", "size": SizeLaw(median_bytes=1e3),
                "per_user_day": 480.0, "must_carry": False}  # fmt: skip
    return Task(**(defaults | values))


@pytest.mark.parametrize(
    ("task", "expected"),
    [
        (poll(), True),
        (poll(must_carry=True), False),  # people's own doing
        (poll(per_user_day=4.0), False),
        (poll(size=SizeLaw(median_bytes=1e6)), False),
        (poll(size=SizeLaw(median_bytes=100.0)), False),  # keeps a connection open
    ],
)
def test_what_counts_as_a_poll(task, expected):
    assert is_poll(task) is expected


def test_a_poll_is_offered_longer_intervals_only():
    service = Service(name="notes", kind="file-sync", n_users=2, tasks=(poll(),))
    found = list(traffic_changes(Site(name="hut", services=(service,))))
    assert [change.after_text for change in found] == ["5.0 min", "15 min", "60 min"]
    edited = found[0].apply(Site(name="hut", services=(service,)))
    assert edited.services[0].tasks[0].per_user_day == 288


def test_a_weekly_backup_moves_four_daily_deltas_a_week(camp):
    (change,) = [c for c in traffic_changes(camp) if "how often" in c.setting]
    was, task = camp.services[4].tasks[0], change.apply(camp).services[4].tasks[0]
    assert task.per_user_day == pytest.approx(1 / 7)
    assert task.mean_bytes * task.per_user_day == pytest.approx(was.mean_bytes * 4 / 7)
    assert "six more days" in change.cost_text
