"""A kind refuses names of tasks it does not have."""

import pytest

from linkfit.errors import InputError
from linkfit.site.kind import Kind, Video
from linkfit.site.model import SizeLaw, Task

TASK = Task(name="look", flow="out", size=SizeLaw(median_bytes=1e3))


def kind(**changes):
    return Kind(**{"name": "k", "summary": "s", "users_are": "u", "tasks": (TASK,)} | changes)


def test_finds_its_tasks_by_name():
    assert kind().task("look") is TASK
    assert kind().task("listen") is None


def test_names_of_tasks_must_be_its_own():
    with pytest.raises(InputError, match=r"k: expected one of \['look'\], got 'listen'"):
        kind(videos=(Video(task="listen", length_s=1.0),))
    with pytest.raises(InputError, match=r"k: expected one of \['look'\], got 'run'"):
        kind(bulk=("run",))
    with pytest.raises(InputError, match=r"k: expected different task names, got"):
        kind(occasional=(TASK,))
