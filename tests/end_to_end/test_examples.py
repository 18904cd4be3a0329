"""Each example script runs as its reader would run it, and says something."""

import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.slow
@pytest.mark.parametrize("script", sorted(EXAMPLES.glob("*.py")), ids=lambda path: path.name)
def test_an_example_runs_without_a_word_on_stderr(script, tmp_path):
    done = subprocess.run(
        [sys.executable, "-W", "error", str(script)],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout.splitlines()) >= 2
    assert not list(tmp_path.iterdir())


def test_there_are_three_examples():
    assert len(list(EXAMPLES.glob("*.py"))) == 3
