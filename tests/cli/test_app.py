import importlib.metadata
import os
import subprocess
import sys
import warnings

import pytest

from linkfit.cli import app as app_module
from linkfit.cli.app import app, main
from linkfit.cli.console import READER_GONE
from linkfit.errors import FitError, InfeasibleError, InputError, ShortTraceWarning


@pytest.fixture
def failing_command():
    """A command that does what the test puts in; taken out again afterwards."""
    todo = []

    def fail() -> None:
        todo[0]()

    app.command("fail-for-a-test")(fail)
    yield todo.append
    app.registered_commands.pop()


def test_version_is_that_of_the_package(run):
    assert run("--version") == (0, f"linkfit {importlib.metadata.version('linkfit')}\n", "")


def test_no_arguments_show_the_help(run):
    _, out, err = run()
    assert "Usage: linkfit [OPTIONS] COMMAND" in out + err


def test_an_unknown_command_is_bad_input(run):
    code, out, err = run("fly")
    assert (code, out) == (2, "")
    assert "fly" in err


@pytest.mark.parametrize("error", [InputError, FitError, InfeasibleError])
def test_an_expected_error_is_one_message_and_its_exit_code(run, failing_command, error):
    def fail():
        raise error("cap: expected more than 0, got 0; write '60 GB'")

    failing_command(fail)
    code, out, err = run("fail-for-a-test")
    assert (code, out) == (error.exit_code, "")
    assert err == "error: cap: expected more than 0, got 0; write '60 GB'\n"


def test_an_error_text_cannot_act_on_the_terminal(run, failing_command):
    def fail():
        raise InputError("file: got '\x1b]0;owned\x07'\nsecond line")

    failing_command(fail)
    _, _, err = run("fail-for-a-test")
    assert err == "error: file: got '\\x1b]0;owned\\x07'\nsecond line\n"


def test_a_bug_keeps_its_traceback(failing_command):
    def fail():
        raise KeyError("a bug")

    failing_command(fail)
    with pytest.raises(KeyError, match="a bug"):
        main(["fail-for-a-test"])


def test_a_warning_is_a_note_on_stderr(run, failing_command):
    def warn():
        warnings.simplefilter("always")
        warnings.warn("3 samples only", ShortTraceWarning, stacklevel=1)

    failing_command(warn)
    assert run("fail-for-a-test") == (0, "", "note: 3 samples only\n")


def test_another_librarys_warning_stays_as_it_is(capsys):
    app_module._show_warning(DeprecationWarning("old"), DeprecationWarning, "file.py", 3)
    assert "file.py:3: DeprecationWarning: old" in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="pipes end otherwise elsewhere")
def test_help_that_nobody_reads_ends_without_a_word():
    reader, writer = os.pipe()
    os.close(reader)
    ended = subprocess.run(
        [sys.executable, "-m", "linkfit", "--help"], stdout=writer, stderr=subprocess.PIPE,
        check=False,
    )  # fmt: skip
    os.close(writer)
    assert (ended.returncode, ended.stderr) == (READER_GONE, b"")
