"""Photo library, file sync, backup: directions as the server sees them, sizes as assumed."""

from linkfit.site.kinds_files import BACKUP, FILE_SYNC, PHOTO_LIBRARY


def test_a_remote_visitor_downloads_out_and_a_phone_uploads_in():
    flows = {task.name: task.flow for task in PHOTO_LIBRARY.tasks}
    assert flows == {
        "open the grid": "out", "view a photo": "out", "get an original": "out",
        "add a photo": "in", "add a clip": "in",
    }  # fmt: skip
    assert FILE_SYNC.task("save a document").flow == "in"
    assert FILE_SYNC.task("fetch a document").flow == "out"
    assert BACKUP.task("daily delta").flow == "out"
    assert BACKUP.task("check the store").flow == "in"


def test_a_grid_is_sixty_small_pictures():
    grid = PHOTO_LIBRARY.task("open the grid")
    assert grid.n_requests == 60
    # measured: a grid of 60 thumbnails is 530 kB, 478 to 585 (90 %)
    assert 478e3 < grid.mean_bytes < 610e3


def test_photos_are_private_and_originals_are_not_kept():
    scopes = {task.name: task.cache.scope for task in PHOTO_LIBRARY.tasks}
    assert "shared" not in scopes.values()
    assert scopes["view a photo"] == "browser"
    assert scopes["get an original"] == "none"


def test_the_first_seed_happens_once_so_it_is_no_usual_task():
    assert BACKUP.task("first seed") in BACKUP.occasional
    assert BACKUP.task("first seed").per_user_day == 0
