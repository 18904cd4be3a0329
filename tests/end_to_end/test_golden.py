"""What the commands print at 80 columns, word for word; ``pytest --regen`` rewrites it.

That of the demo is held in tests/cli/test_demo.py.
"""

from pathlib import Path

import pytest
import typer.main

from linkfit.cli.app import app, main

ROOT = Path(__file__).parents[2]
COMMANDS = sorted(typer.main.get_command(app).commands)
TRACES, SITE = "traces/kestrel-ridge", "examples/kestrel-ridge.toml"


@pytest.fixture
def printed(capsys, monkeypatch):
    """The stdout of a command, run from the checkout's folder."""

    def printed(*arguments):
        monkeypatch.setenv("COLUMNS", "80")
        monkeypatch.setenv("TERMINAL_WIDTH", "80")
        monkeypatch.chdir(ROOT)
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        assert ended.value.code == 0
        return capsys.readouterr().out

    return printed


def test_help_of_the_program(golden, printed):
    golden("help/linkfit.txt", printed("--help"))


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_a_command(golden, printed, command):
    golden(f"help/{command}.txt", printed(command, "--help"))


def test_inspect(golden, printed):
    golden("inspect.txt", printed("inspect", TRACES))


def test_data(golden, printed):
    golden("data.txt", printed("data", SITE))


@pytest.mark.slow
def test_fit(golden, printed):
    golden("fit.txt", printed("fit", TRACES, "--timezone", "Europe/Lisbon"))


@pytest.mark.slow
def test_transfer(golden, printed):
    golden("transfer.txt", printed("transfer", TRACES, "--size", "4 MB", "--flow", "out"))


@pytest.mark.slow
def test_transfer_that_starts_now(golden, printed):
    recent = f"{TRACES}/photo-uploads.csv"
    asked = ("--size", "4 MB", "--flow", "out", "--recent", recent, "--by", "8 s")
    golden("transfer-now.txt", printed("transfer", TRACES, *asked))


@pytest.mark.slow
def test_backlog(golden, printed):
    golden("backlog.txt", printed("backlog", SITE, TRACES, "--start", "2026-06-29"))
