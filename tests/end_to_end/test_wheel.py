"""The wheel, installed alone in a fresh environment, helps and runs the demo outside a checkout.

Needs the package registry: it builds and installs as a user would.
"""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.slow


def done(*command, cwd):
    finished = subprocess.run(
        list(map(str, command)), cwd=cwd, capture_output=True, text=True, timeout=600,
        check=False,
    )  # fmt: skip
    assert finished.returncode == 0, finished.stdout[-2000:] + finished.stderr[-4000:]
    return finished.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Source archive first, wheel from that: what a release does."""
    folder = tmp_path_factory.mktemp("dist")
    done(sys.executable, "-m", "build", "--outdir", folder, ROOT, cwd=folder)
    [path] = folder.glob("*.whl")
    return path


def test_the_wheel_holds_the_program_its_demo_and_nothing_else(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    assert "linkfit/cli/app.py" in names
    assert "linkfit/py.typed" in names
    assert "linkfit/demo_data/examples/kestrel-ridge.toml" in names
    traces = {path.name for path in (ROOT / "traces" / "kestrel-ridge").iterdir()}
    assert {f"linkfit/demo_data/traces/kestrel-ridge/{name}" for name in traces} <= names
    assert not [n for n in names if n.startswith(("tests/", "traces/", "examples/"))]
    assert not [n for n in names if n.endswith(("make_traces.py", ".pyc"))]


def test_installed_alone_it_helps_and_runs_the_demo(wheel, tmp_path):
    # neither a pip of its own nor bytecode of what no command loads: half of the time
    done(sys.executable, "-m", "venv", "--without-pip", tmp_path / "venv", cwd=tmp_path)
    binaries = tmp_path / "venv" / "bin"
    done(sys.executable, "-m", "pip", "--python", binaries / "python", "install", "--quiet",
         "--no-compile", wheel, cwd=tmp_path)  # fmt: skip
    assert "Usage: linkfit" in done(binaries / "linkfit", "--help", cwd=tmp_path)
    empty = tmp_path / "elsewhere"
    empty.mkdir()
    out = done(binaries / "linkfit", "demo", cwd=empty)
    assert "Kestrel Ridge" in out
    assert len(list((empty / "linkfit-demo").glob("*.svg"))) >= 10
