"""What the command was asked: a site file's backlogs, or one from options."""

from datetime import date

import pytest

from linkfit.cli.backlog_input import (
    BacklogOptions,
    asked_backlogs,
    night_length_h,
    read_day,
    read_window,
    start_hour,
)
from linkfit.errors import InputError

LOOSE = {"items": 5000, "size": "3.5 MB", "flow": "out"}


def test_without_a_site_file_the_options_say_what_waits():
    given = BacklogOptions(
        paths=("a.csv",), **LOOSE, cap="60 GB", window="23:00-05:00", per_item="2 s",
        deadline="2026-07-31", timezone="Europe/Lisbon",
    )  # fmt: skip
    site, (backlog,), files = asked_backlogs(given)
    assert files == ("a.csv",)
    assert (backlog.n_items, backlog.size.median_bytes, backlog.flow) == (5000, 3.5e6, "out")
    assert (backlog.per_item_s, backlog.deadline) == (2.0, date(2026, 7, 31))
    assert backlog.window[0].length_h == 6
    assert (site.plan.cap_bytes, site.timezone) == (60e9, "Europe/Lisbon")
    assert site.backlogs == (backlog,)


def test_a_site_file_keeps_what_no_option_changes(site_file):
    site, (photos,), files = asked_backlogs(BacklogOptions(paths=(str(site_file), "b", "c")))
    assert files == ("b", "c")
    assert (photos.name, photos.n_items) == ("season photos", 400)
    changed, (photos,), _ = asked_backlogs(
        BacklogOptions(paths=(str(site_file),), cap="10 GB", window="01:00-05:00")
    )
    assert changed.plan.cap_bytes == 10e9
    assert changed.plan.throttle_bps == site.plan.throttle_bps
    assert photos.window
    assert changed.backlogs == (photos,)


@pytest.mark.parametrize(("edit", "message"), [
    ({"paths": ()}, "SITE: expected a site file, or --items, --size and --flow, got neither"),
    ({"size": "3 MB"}, "--size: expected it with --items, got it with a site file"),
    ({"items": 3}, "--size, --flow: expected a value with --items, got nothing"),
    ({**LOOSE, "size": "3 Mb"}, "--size: expected a number and B"),
    ({**LOOSE, "flow": "up"}, "flow: expected 'out' or 'in' or 'both', got 'up'"),
    ({**LOOSE, "name": "x"}, "--name: expected it with a site file, got 'x' with --items"),
    ({**LOOSE, "window": "23"}, "--window: expected two times of day"),
    ({**LOOSE, "deadline": "July"}, "--deadline: expected a day as 2026-06-29, got 'July'"),
])  # fmt: skip
def test_wrong_options_are_named(site_file, edit, message):
    with pytest.raises(InputError, match=message):
        asked_backlogs(BacklogOptions(**{"paths": (str(site_file),), **edit}))


def test_the_start_and_the_length_of_a_night():
    assert start_hour(None, None) == 0
    assert start_hour(None, "23:30-05:00") == 23.5
    assert start_hour("20:15", "23:00-05:00") == 20.25
    with pytest.raises(InputError, match="--at: expected an hour from 0:00 to 23:59, got '25:00'"):
        start_hour("25:00", None)
    assert night_length_h(None, None) is None
    assert night_length_h(None, "23:00-05:00") == 6
    assert night_length_h("90 min", "23:00-05:00") == 1.5
    assert read_window("--window", "06:30-22:00").start_h == 6.5
    assert read_day("--start", "2026-06-29") == date(2026, 6, 29)
