"""Edits of a Site: only the named part changes, and applying one twice changes nothing more."""

import pytest

from linkfit.advice.edits import EDITORS, Edit
from linkfit.errors import InputError
from linkfit.site.model import Image, SizeLaw


def view_a_photo(site):
    return next(t for t in site.services[0].tasks if t.name == "view a photo")


def edge(value):
    return Edit(
        editor="image", field="edge_px", value=value, service="finds catalogue", task="view a photo"
    )


def test_untouched_services_and_tasks_stay_the_same_objects(camp):
    edited = edge(1080).apply(camp)
    assert view_a_photo(edited).image.edge_px == 1080
    assert all(new is old for new, old in zip(edited.services[1:], camp.services[1:], strict=True))
    assert [new is old for new, old in zip(
        edited.services[0].tasks, camp.services[0].tasks, strict=True
    )] == [True, False, True, True, True]  # fmt: skip
    assert edited.plan is camp.plan
    assert edited.backlogs is not None
    assert edited.backlogs[0] is camp.backlogs[0]


def test_an_edit_that_changes_nothing_returns_the_site_itself(camp):
    assert edge(1440).apply(camp) is camp


def test_bytes_follow_the_measured_photos(camp):
    """Own measurement of 114 JPEGs: medians 209 kB at 1440 px and 131 kB at 1080 px, quality 80."""
    assert view_a_photo(camp).size.median_bytes == pytest.approx(209e3)
    smaller = view_a_photo(edge(1080).apply(camp))
    assert smaller.size.median_bytes == pytest.approx(131e3, rel=0.05)
    assert smaller.size.spread == view_a_photo(camp).size.spread


def test_two_settings_of_one_picture_give_the_same_site_in_either_order(camp):
    quality = Edit(
        editor="image", field="quality", value=75, service="finds catalogue", task="view a photo"
    )
    one = view_a_photo(quality.apply(edge(1080).apply(camp)))
    other = view_a_photo(edge(1080).apply(quality.apply(camp)))
    assert one.image == other.image == Image(edge_px=1080, quality=75)
    assert one.size.median_bytes == pytest.approx(other.size.median_bytes)


@pytest.mark.parametrize(
    ("edit", "read", "value"),
    [
        (Edit(editor="task", field="size", value=SizeLaw(median_bytes=5.0),
              service="server care", task="system updates"),
         lambda s: s.services[5].tasks[0].size, SizeLaw(median_bytes=5.0)),
        (Edit(editor="cache", value=7.0, service="dig site pages", task="first view"),
         lambda s: s.services[3].tasks[0].cache.lifetime_s, 7.0),
        (Edit(editor="service", field="rate_limit_bps", value=1e6, service="night copies"),
         lambda s: s.services[4].rate_limit_bps, 1e6),
        (Edit(editor="backlog", field="n_parallel", value=3, name="season photos"),
         lambda s: s.backlogs[0].n_parallel, 3),
        (Edit(editor="backlog image", field="edge_px", value=2048, name="season photos"),
         lambda s: s.backlogs[0].image.edge_px, 2048),
        (Edit(editor="background", value=0.0, name="weather desk updates"),
         lambda s: s.background[1].bytes_per_day, 0.0),
        (Edit(editor="keepalive", value=25.0), lambda s: s.path.keepalive_s, 25.0),
        (Edit(editor="local names", value=True),
         lambda s: all(service.local_name for service in s.services), True),
    ],
    ids=lambda x: getattr(x, "editor", None),
)  # fmt: skip
def test_each_editor_sets_what_it_says_and_no_more_the_second_time(camp, edit, read, value):
    assert read(camp) != value
    edited = edit.apply(camp)
    assert read(edited) == value
    assert edit.apply(edited) is edited


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"editor": "task", "field": "size", "service": "finds", "task": "x"},
         r"service: expected one of 'finds catalogue', .* got 'finds'"),
        ({"editor": "image", "field": "edge_px", "service": "finds catalogue", "task": "x"},
         r"service 'finds catalogue': task: expected one of .* got 'x'"),
        ({"editor": "image", "field": "edge_px", "service": "finds catalogue",
          "task": "add a photo"}, r"add a photo: expected a stored picture, got none"),
        ({"editor": "task", "field": "name", "service": "field notes", "task": "save a document"},
         r"field: expected 'size' or .* got 'name'"),
        ({"editor": "backlog", "field": "n_parallel", "name": "x"},
         r"backlog: expected one of 'season photos', got 'x'"),
    ],
)  # fmt: skip
def test_a_wrong_name_is_shown_with_what_there_is(camp, values, message):
    with pytest.raises(InputError, match=message):
        Edit(value=1, **values).apply(camp)


def test_an_unknown_editor_is_refused():
    with pytest.raises(InputError, match=r"editor: expected 'task' or .* got 'magic'"):
        Edit(editor="magic", value=1)
    assert "task" in EDITORS
