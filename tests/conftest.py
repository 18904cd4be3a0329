"""Fixtures every test may use; seeds are fixed so that a failure comes back."""

from pathlib import Path

import numpy as np
import pytest

SHARED_TRACES = Path(__file__).parents[2] / "shared" / "traces"


def pytest_addoption(parser):
    parser.addoption("--regen", action="store_true", help="rewrite tests/golden from this run")


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
