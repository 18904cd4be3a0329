"""The invented measurements are what their generator writes."""

import importlib.util
import sys
from pathlib import Path

import pytest

TRACES = Path(__file__).parents[2] / "traces"
FOLDERS = ("kestrel-ridge", "vet-van", "village-festival", "hill-station")


@pytest.fixture(scope="module")
def made():
    spec = importlib.util.spec_from_file_location("make_traces", TRACES / "make_traces.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_traces"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    places = {place.folder: module.place_files(place) for place in module.PLACES}
    yield {"kestrel-ridge": module.make_traces(), **places}
    del sys.modules["make_traces"]


def test_there_is_a_folder_for_each_example(made):
    assert set(made) == set(FOLDERS) == {path.name for path in TRACES.iterdir() if path.is_dir()
                                         and path.name != "__pycache__"}  # fmt: skip
    for folder in FOLDERS:
        assert (TRACES.parent / "examples" / f"{folder}.toml").is_file()


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_generator_reproduces_every_committed_byte(made, folder):
    for name, text in made[folder].items():
        assert (TRACES / folder / name).read_bytes() == text.encode(), name


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_other_measurement_lies_in_the_folder(made, folder):
    assert {path.name for path in (TRACES / folder).iterdir()} == set(made[folder])


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_folder_stays_small(made, folder):
    assert sum(map(len, made[folder].values())) < (3e6 if folder == "kestrel-ridge" else 1e5)
