"""How fast the program starts: ``--help`` against an empty typer program, medians in one run."""

import statistics
import subprocess
import sys
import time

import pytest

EMPTY = """
import typer
app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=True)
@app.command()
def nothing() -> None:
    "Nothing."
@app.command()
def more() -> None:
    "More."
app()
"""
HELP = "import sys; sys.argv = ['linkfit', '--help']; from linkfit.cli.app import main; main()"
N_ROUNDS = 9
MOST_RATIO = 1.3


def wall_s(code):
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, "--help"], capture_output=True, check=True)
    return time.perf_counter() - began


@pytest.mark.slow
def test_help_starts_about_as_fast_as_an_empty_program(request):
    pairs = [(wall_s(EMPTY), wall_s(HELP)) for _ in range(N_ROUNDS)]  # in turn: both see one load
    empty_s, help_s = (statistics.median(times) for times in zip(*pairs, strict=True))
    print(f"--help {help_s * 1e3:.0f} ms, empty program {empty_s * 1e3:.0f} ms, "
          f"ratio {help_s / empty_s:.2f} (at most {MOST_RATIO})")  # fmt: skip
    if request.config.getoption("--benchmark-enable"):
        assert help_s / empty_s <= MOST_RATIO
