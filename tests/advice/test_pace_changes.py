"""Rate limits, hours, chunks and lanes from the rules of thumb of the trade (common practice)."""

from dataclasses import replace

import pytest

from linkfit.advice.pace_changes import (
    is_bulk,
    is_patient,
    largest_chunk_bytes,
    pace_changes,
    quiet_window,
)
from linkfit.site.hours import DayWindow, Hours, Power
from linkfit.site.model import Backlog, PathLimits, Site, SizeLaw, Task


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


@pytest.mark.parametrize(
    ("body", "timeout", "rate_p05_bps", "expected"),
    [
        (100e6, None, 1e6, 90e6),  # 0.9 x body limit
        (100e6, 100.0, 1.2e6, 5e6),  # 1.2 Mbit/s x 50 s = 7.5 MB
        (None, 60.0, 8e6, 25e6),  # 8 Mbit/s x 30 s = 30 MB
        (None, 60.0, 1e5, 1e6),  # 0.4 MB would cost more in requests than it saves
        (1e6, None, 1e6, None),  # even 1 MB is not carried
        (None, None, 1e6, None),
        (100e6, 100.0, 0.0, 90e6),  # rate never measured: the body limit alone
    ],
)
def test_the_chunk_fits_the_body_limit_and_half_a_timeout(body, timeout, rate_p05_bps, expected):
    path = PathLimits(entry="relay", body_limit_bytes=body, idle_timeout_s=timeout)
    assert largest_chunk_bytes(Site(name="hut", path=path), rate_p05_bps) == expected


def test_a_body_limit_binds_behind_a_relay_only(camp):
    direct = replace(camp, path=replace(camp.path, entry="direct", idle_timeout_s=None))
    assert largest_chunk_bytes(direct, 1e6) is None


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


@pytest.mark.parametrize(
    ("backlog", "up_p50_bps", "expected"),
    [
        ({"per_item_s": 0.5, "n_parallel": 1}, 6e6, ["2", "4", "6"]),  # small and many
        ({"per_item_s": 0.0, "n_parallel": 5}, 3e6, ["1", "2"]),  # large, slow link
        ({"per_item_s": 0.0, "n_parallel": 5}, 6e6, ["1", "2", "3"]),
        ({"per_item_s": 0.0, "n_parallel": 1}, 3e6, []),
    ],
)
def test_many_small_items_get_more_lanes_and_large_ones_fewer(rates, backlog, up_p50_bps, expected):
    one = Backlog(name="films", n_items=10, size=SizeLaw(median_bytes=5e8), **backlog)
    site, link = Site(name="hut", backlogs=(one,)), replace(rates, up_p50_bps=up_p50_bps)
    assert levels(site, link, "backlog films: transfers at once") == expected


def test_bulk_tasks_are_those_of_the_kind_or_look_like_files(camp):
    photos, pages = camp.services[0], camp.services[3]
    by_name = {task.name: task for task in (*photos.tasks, *pages.tasks)}
    assert is_bulk(photos, by_name["add a clip"])
    assert not is_bulk(photos, by_name["open the grid"])
    assert not is_bulk(pages, by_name["first view"])
    own = Task(name="scan in", flow="in", size=SizeLaw(median_bytes=1e8), chunk_bytes=1e7)
    assert is_bulk(photos, own)
