"""What the keys of a service and of its tasks do to the tasks of its kind."""

import pytest

from linkfit.errors import ConfigError, ExtrapolationWarning
from linkfit.site.file import parse_site
from linkfit.site.kinds import KINDS
from linkfit.site.model import Cache, Image, SizeLaw
from linkfit.site.photo_sizes import photo_size, resized
from linkfit.site.tasks import deaf_keys


def tasks_of(kind, keys="", tasks=""):
    text = f"[site]\nname='dig'\n[[service]]\nname='a'\nkind='{kind}'\nusers=2\n{keys}\n{tasks}"
    return {task.name: task for task in parse_site(text).services[0].tasks}


def test_photo_keys_change_picture_and_size_by_the_measured_law():
    before = tasks_of("photo-library")
    after = tasks_of("photo-library", "photo_edge = 1080\nphoto_format = 'webp'\nthumb_edge = 512")
    view = after["view a photo"]
    assert view.image == Image(edge_px=1080, format="webp", quality=80)
    assert view.size == resized(before["view a photo"].size, Image(edge_px=1440), view.image)
    assert view.size.median_bytes < before["view a photo"].size.median_bytes / 2
    grid = after["open the grid"]
    assert grid.image == Image(edge_px=512, format="webp", role="thumbnail")
    assert grid.size.median_bytes > before["open the grid"].size.median_bytes
    assert after["get an original"] == before["get an original"]


def test_a_size_in_the_file_wins_over_the_picture():
    task = "[[service.task]]\nname='view a photo'\nsize='300 kB'"
    view = tasks_of("photo-library", "photo_edge = 1080", task)["view a photo"]
    assert view.size == SizeLaw(median_bytes=300e3)
    assert view.image.edge_px == 1080
    assert view.source == "site file"


def test_a_photo_gives_a_new_task_its_size():
    task = "[[service.task]]\nname='plan'\nflow='out'\nphoto={edge=1920}\nper_user_day=2"
    plan = tasks_of("chat", "", task)["plan"]
    assert plan.size == photo_size(Image(edge_px=1920))
    assert (plan.flow, plan.per_user_day, plan.n_requests) == ("out", 2, 1)


def test_a_photo_on_a_known_task_rescales_its_size():
    task = "[[service.task]]\nname='view a photo'\nphoto={edge=720}"
    view = tasks_of("photo-library", "", task)["view a photo"]
    # 209 kB at 1440 px; half the edge is 2^-1.71 of it
    assert view.size.median_bytes == pytest.approx(209e3 * 2**-1.71)


def test_beyond_the_measured_edges_a_warning():
    with pytest.warns(ExtrapolationWarning, match=r"edge: measured from 250 to 2560 px, got 4000"):
        tasks_of("photo-library", "photo_edge = 4000")


def test_browser_cache_keeps_private_content_private():
    after = tasks_of("photo-library", "browser_cache = '7 days'")
    assert after["view a photo"].cache == Cache(
        scope="browser", lifetime_s=604800.0, views_per_object_day=0.1
    )
    assert after["add a photo"].cache == Cache()


def test_shared_and_browser_cache_of_public_content():
    shared = tasks_of("web-site", "shared_cache = '1 day'\nbrowser_cache = '2 days'")
    assert shared["first view"].cache.scope == "shared"
    assert shared["first view"].cache.lifetime_s == 86400
    browser = tasks_of("web-site", "browser_cache = '2 days'")
    assert browser["first view"].cache.scope == "browser"
    assert browser["first view"].cache.lifetime_s == 2 * 86400


def test_video_rate_sets_the_main_video_and_only_lowers_the_others():
    slow = tasks_of("media-streaming", "video_rate = '800 kbit/s'")
    assert slow["episode at 720p"].size.median_bytes == pytest.approx(800e3 * 2400 / 8)
    assert slow["episode at 480p"].size.median_bytes == pytest.approx(800e3 * 2400 / 8)
    fast = tasks_of("media-streaming", "video_rate = '5 Mbit/s'")
    assert fast["episode at 720p"].size.median_bytes == pytest.approx(5e6 * 2400 / 8)
    assert fast["episode at 480p"].size.median_bytes == 360e6
    assert fast["music track"].size.median_bytes == 3.84e6


def test_chunk_and_parallel_hold_for_tasks_that_move_files():
    after = tasks_of("photo-library", "chunk = '8 MB'\nparallel = 2")
    assert (after["add a clip"].chunk_bytes, after["add a clip"].n_parallel) == (8e6, 2)
    assert (after["open the grid"].chunk_bytes, after["open the grid"].n_parallel) == (None, 6)


def test_the_keys_of_a_task_win_over_those_of_its_service():
    task = "[[service.task]]\nname='add a clip'\nchunk='4 MB'"
    after = tasks_of("photo-library", "chunk = '8 MB'", task)
    assert after["add a clip"].chunk_bytes == 4e6
    assert after["add a photo"].chunk_bytes == 8e6


def test_occasional_tasks_join_only_when_named():
    assert "record away from the site" not in tasks_of("cameras")
    task = "[[service.task]]\nname='record away from the site'"
    assert tasks_of("cameras", "", task)["record away from the site"].duration_s == 86400


def test_only_listed_tasks():
    task = "[[service.task]]\nname='episode at 720p'\nper_user_day = 0.3"
    after = tasks_of("media-streaming", "only_listed_tasks = true", task)
    assert list(after) == ["episode at 720p"]
    assert after["episode at 720p"].per_user_day == 0.3


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_deaf_keys_are_those_that_the_file_refuses(kind):
    values = {
        "photo_edge": "1440", "photo_quality": "80", "photo_format": "'jpeg'", "thumb_edge": "250",
        "browser_cache": "'7 days'", "shared_cache": "'7 days'", "video_rate": "'1 Mbit/s'",
        "chunk": "'8 MB'", "parallel": "2",
    }  # fmt: skip
    for key, value in values.items():
        if key in deaf_keys(KINDS[kind]):
            with pytest.raises(ConfigError, match=f"service 1: {key}: expected a kind .*'{kind}'"):
                tasks_of(kind, f"{key} = {value}")
        else:
            assert tasks_of(kind, f"{key} = {value}")
