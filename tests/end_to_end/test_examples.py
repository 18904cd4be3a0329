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


def test_there_are_four_examples():
    assert len(list(EXAMPLES.glob("*.py"))) == 4


@pytest.mark.slow
def test_the_notebook_example_writes_one_figure_of_each(tmp_path):
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / "notebook_figures.py"), str(tmp_path)],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    names = ["evaluation.svg", "forecast.svg", "link.svg", "trace.svg"]
    assert sorted(path.name for path in tmp_path.iterdir()) == names
    assert "trace: a table of 4 rows" in done.stdout
