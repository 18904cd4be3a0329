"""The modules of this folder serve its tests and the command `score.py` alike."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def measured(shared_traces):
    from measured_links import measured_links

    return measured_links(shared_traces)
