"""The program in a process of its own: streams, endings, environment, what it loads."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINK = ["--down", "24 Mbit/s", "--up", "6 Mbit/s", "--rtt", "55 ms"]
TRANSFER = ["transfer", *LINK, "--size", "4 MB", "--flow", "out"]


def program(*arguments, environment=None, stdin=None, **options):
    return subprocess.run(
        [sys.executable, "-m", "linkfit", *map(str, arguments)],
        env={**os.environ, "COLUMNS": "80", **(environment or {})},
        input=stdin, capture_output=True, timeout=120, check=False, **options,
    )  # fmt: skip


def test_module_and_script_are_the_same_program():
    done = program("--version")
    assert done.returncode == 0
    assert done.stdout.startswith(b"linkfit ")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--version"], 0),
        ([*TRANSFER], 0),
        ([*TRANSFER, "--size", "4"], 2),
        (["inspect", "missing.csv"], 2),
        (["inspect", "/dev/null"], 2),
        (["fly"], 2),
        (["transfer", "--up", "6 Mbit/s", "--size", "4 MB", "--flow", "in"], 3),
    ],
)
def test_it_ends_with_the_code_of_what_happened(arguments, code, tmp_path):
    done = program(*arguments, cwd=tmp_path)
    assert done.returncode == code
    assert bool(done.stdout) == (code == 0)
    assert bool(done.stderr) == (code != 0)
    assert b"Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_no_color_means_none_even_where_colour_is_forced():
    coloured = program(*TRANSFER, environment={"FORCE_COLOR": "1", "TERM": "xterm-256color"})
    assert b"\x1b[" in coloured.stdout
    plain = program(
        *TRANSFER, environment={"FORCE_COLOR": "1", "NO_COLOR": "1", "TERM": "xterm-256color"}
    )
    assert b"\x1b[3" not in plain.stdout  # bold may stay, colour may not
    assert b"\x1b[38" not in plain.stdout


def test_a_pipe_gets_plain_text():
    assert b"\x1b" not in program(*TRANSFER).stdout


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp850"])
def test_a_terminal_that_lacks_a_letter_is_no_reason_to_crash(encoding):
    done = program(*TRANSFER, environment={"PYTHONIOENCODING": encoding})
    assert done.returncode == 0, done.stderr
    assert b"median" in done.stdout


def test_a_reader_that_stops_early_gets_no_traceback():
    command = f"{sys.executable} -m linkfit inspect {ROOT / 'traces' / 'kestrel-ridge'} | head -1"
    done = subprocess.run(["bash", "-c", command], capture_output=True, timeout=120, check=False)
    assert done.stdout == b"What was read\n"
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shell_completion_can_be_shown(shell):
    variable = {"_LINKFIT_COMPLETE": f"source_{shell}"}
    done = program("--show-completion", shell, environment=variable)
    assert done.returncode == 0, done.stderr
    assert b"LINKFIT_COMPLETE" in done.stdout.upper()


def test_json_is_not_wrapped_by_a_narrow_terminal():
    wide, narrow = (
        program(*TRANSFER, "--json", environment={"COLUMNS": columns}) for columns in ("200", "20")
    )
    assert wide.stdout == narrow.stdout
