"""Rate limits, hours, chunks and lanes from the rules of thumb of the trade (common practice)."""

from dataclasses import replace

import pytest

from linkfit.advice.pace_changes import (
    is_bulk,
    is_patient,
    pace_changes,
    quiet_window,
)
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Backlog, PathLimits, Service, Site, SizeLaw, Task


def levels(site, rates, setting):
    return [c.after_text for c in pace_changes(site, rates) if c.setting == setting]


def test_only_services_that_nobody_waits_for_are_held_back(camp):
    patient = {service.name for service in camp.services if is_patient(service)}
    assert patient == {"night copies", "server care"}


def test_a_rate_limit_starts_at_85_percent_of_the_tenth_percentile(camp, rates):
    # p10 is 2 Mbit/s up: 1.7, 1.0 and 0.5
    assert levels(camp, rates, "backlog season photos: rate limit") == [
        "1.7 Mbit/s", "1.0 Mbit/s", "500 kbit/s",
    ]  # fmt: skip
    held = replace(camp, backlogs=(replace(camp.backlogs[0], rate_limit_bps=0.8e6),))
    assert levels(held, rates, "backlog season photos: rate limit") == ["500 kbit/s"]


def test_a_direction_never_measured_gives_no_limit(camp, rates):
    unknown = replace(rates, up_p05_bps=0.0, up_p10_bps=0.0, up_p50_bps=0.0)
    assert levels(camp, unknown, "backlog season photos: rate limit") == []


def test_chunks_are_for_what_the_server_takes_in_and_for_large_files(camp, rates):
    chunked = {c.setting for c in pace_changes(camp, rates) if "chunk size" in c.setting}
    assert "finds catalogue: add a clip: chunk size" in chunked
    assert "finds catalogue: get an original: chunk size" not in chunked  # one answer to a visitor
    assert "finds catalogue: add a photo: chunk size" not in chunked  # smaller than a chunk
    assert "dig site pages: first view: chunk size" not in chunked


@pytest.mark.parametrize(
    ("hours", "called"),
    [
        (Hours(), "night"),
        (Hours(windows=(DayWindow(start_h=20.0, end_h=8.0),)), "night"),
        (Hours(windows=(DayWindow(start_h=6.5, end_h=22.0),)), "early hours"),
        (Hours(power=Power(battery_wh=640, load_w=13, panel_w=120, sun_hours=3.5)), "hours of sun"),
    ],
)
def test_quiet_hours_lie_where_the_server_is_up(hours, called):
    window, name = quiet_window(Site(name="hut", hours=hours))
    assert name == called
    if called == "early hours":
        assert (window.start_h, window.end_h) == (6.5, 8.5)


def test_no_quiet_hours_in_a_short_day():
    hours = Hours(windows=(DayWindow(start_h=12.0, end_h=15.0),))
    assert quiet_window(Site(name="hut", hours=hours)) is None


def films(**values):
    return Backlog(name="films", n_items=10, size=SizeLaw(median_bytes=5e8), **values)


@pytest.mark.parametrize(
    ("path", "chunk_bytes", "expected"),
    [
        # half of 100 s at 1.2 Mbit/s are 7.5 MB, in round numbers 6 MB
        ({"idle_timeout_s": 100.0}, None, ["6.0 MB"]),
        ({"idle_timeout_s": 100.0}, 7e6, []),  # any size up to the upper end does
        ({"idle_timeout_s": 100.0}, 8e6, ["6.0 MB"]),
        ({"body_limit_bytes": 100e6}, None, []),  # what the server sends is no request
        ({}, None, []),  # nothing is known to refuse or break them
    ],
)
def test_pieces_are_those_of_the_uploads_where_whole_files_are_not_safe(
    rates, path, chunk_bytes, expected
):
    site = Site(
        name="hut", path=PathLimits(entry="relay", **path),
        backlogs=(films(chunk_bytes=chunk_bytes),),
    )  # fmt: skip
    assert levels(site, rates, "backlog films: chunk size") == expected


@pytest.mark.parametrize(
    ("backlog", "expected"),
    [
        ({"n_parallel": 5, "per_item_s": 0.0}, ["1"]),  # one alone fills the link
        ({"n_parallel": 1, "per_item_s": 0.0}, []),
        ({"n_parallel": 1, "per_item_s": 400.0}, ["3"]),  # 11 min to send one, 7 to wait
        ({"n_parallel": 3, "per_item_s": 400.0}, []),
    ],
)
def test_the_number_at_once_is_the_smallest_that_fills_the_link(rates, backlog, expected):
    site = Site(name="hut", backlogs=(films(**backlog),))
    assert levels(site, rates, "backlog films: transfers at once") == expected


def test_one_file_at_a_time_is_not_made_several(rates):
    """Where a visit brings one file there is nothing to send beside it."""
    own = Task(name="scan in", flow="in", size=SizeLaw(median_bytes=1e6), per_item_s=2.0)
    service = Service(name="lab", kind="own", n_users=1, tasks=(own,))
    setting = "lab: scan in: transfers at once"
    assert levels(Site(name="hut", services=(service,)), rates, setting) == []
    many = replace(service, tasks=(replace(own, n_requests=50),))
    (found,) = levels(Site(name="hut", services=(many,)), rates, setting)
    assert int(found) > 1


def test_without_uploads_of_the_link_neither_is_offered(camp, rates):
    found = {c.setting for c in pace_changes(camp, replace(rates, uploads=None))}
    assert not any("chunk size" in setting or "at once" in setting for setting in found)


def test_bulk_tasks_are_those_of_the_kind_or_look_like_files(camp):
    photos, pages = camp.services[0], camp.services[3]
    by_name = {task.name: task for task in (*photos.tasks, *pages.tasks)}
    assert is_bulk(photos, by_name["add a clip"])
    assert not is_bulk(photos, by_name["open the grid"])
    assert not is_bulk(pages, by_name["first view"])
    own = Task(name="scan in", flow="in", size=SizeLaw(median_bytes=1e8), chunk_bytes=1e7)
    assert is_bulk(photos, own)
