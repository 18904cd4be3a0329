"""Fixtures every test may use; seeds are fixed so that a failure comes back."""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

SHARED_TRACES = Path(__file__).parents[2] / "shared" / "traces"
settings.load_profile("ci")  # the same examples each time, and no deadline on a busy machine

# a worker takes all of one of these, at the start: two wait for clocks and real links, one measures
# while only one other computes, and that looks at one report
FOLDERS = ("tests/bench/", "tests/emulation/", "tests/probe/", "tests/report/page/")


def pytest_addoption(parser):
    parser.addoption("--regen", action="store_true", help="rewrite tests/golden from this run")


def pytest_collection_modifyitems(items):
    """These folders begin first, then files with the most slow tests: no core idles at the end."""
    n_slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
    items.sort(key=lambda item: (not item.nodeid.startswith(FOLDERS), -n_slow[item.path]))


@pytest.hookimpl(optionalhook=True)  # unknown without pytest-xdist
def pytest_xdist_make_scheduler(config, log):
    """``--dist loadfile`` hands out whole files, and those folders as one piece each."""
    from xdist.scheduler import LoadFileScheduling

    class FilesAndFolders(LoadFileScheduling):
        def _split_scope(self, nodeid):
            folder = next((folder for folder in FOLDERS if nodeid.startswith(folder)), None)
            return folder or super()._split_scope(nodeid)

    return FilesAndFolders(config, log) if config.getvalue("dist") == "loadfile" else None


@pytest.fixture
def rng():
    return np.random.default_rng(20260705)


@pytest.fixture
def golden(request):
    """Compare a text with tests/golden/NAME, or rewrite it under --regen (review the diff)."""

    def check(name: str, text: str) -> None:
        path = Path(__file__).parent / "golden" / name
        if request.config.getoption("--regen"):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        assert path.exists(), f"{name}: run pytest --regen once, then review the file"
        assert text == path.read_text(encoding="utf-8")

    return check


@pytest.fixture(scope="session")
def shared_traces():
    """Real measurements kept beside a checkout; absent elsewhere, but never in CI."""
    import os

    if not SHARED_TRACES.is_dir():
        if os.environ.get("CI"):
            pytest.fail(f"expected the shared traces at {SHARED_TRACES}")
        pytest.skip("the shared traces are not beside this checkout")
    return SHARED_TRACES
