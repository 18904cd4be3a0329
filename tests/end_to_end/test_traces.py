"""The invented measurements are what their generator writes."""

import importlib.util
import sys
from pathlib import Path

import pytest

TRACES = Path(__file__).parents[2] / "traces"


@pytest.fixture(scope="module")
def made():
    spec = importlib.util.spec_from_file_location("make_traces", TRACES / "make_traces.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_traces"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    yield module.make_traces()
    del sys.modules["make_traces"]


def test_the_generator_reproduces_every_committed_byte(made):
    for name, text in made.items():
        assert (TRACES / "kestrel-ridge" / name).read_bytes() == text.encode(), name


def test_no_other_measurement_lies_in_the_folder(made):
    assert {path.name for path in (TRACES / "kestrel-ridge").iterdir()} == set(made)


def test_the_folder_stays_small(made):
    assert sum(map(len, made.values())) < 3e6
