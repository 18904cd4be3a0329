import io
import json
import os
import subprocess
import sys

import pytest

from linkfit.cli.console import READER_GONE, following, show, show_json, tell, working_on


def test_results_go_to_stdout_and_messages_to_stderr(capsys):
    show("a result")
    tell("a message")
    assert capsys.readouterr() == ("a result\n", "a message\n")


def test_markup_and_emoji_codes_are_only_text(capsys):
    show("[red]x[/red] :rocket: [/]")
    assert capsys.readouterr().out == "[red]x[/red] :rocket: [/]\n"


def test_no_color_is_obeyed(monkeypatch):
    from rich.text import Text

    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("FORCE_COLOR", "1")
    out = io.StringIO()
    monkeypatch.setattr("sys.stdout", out)
    show(Text("fits", style="green"))
    assert out.getvalue() == "fits\n"


def test_json_is_ascii_and_refuses_what_is_not_json(capsys):
    show_json({"name": "a\u202eb\x1b", "n": 1})
    out = capsys.readouterr().out
    assert out.isascii()
    assert json.loads(out) == {"name": "a\u202eb\x1b", "n": 1}
    with pytest.raises(ValueError, match="not JSON compliant"):
        show_json({"x": float("inf")})


def test_progress_is_silent_in_a_log_file(capsys):
    with working_on("reading"):
        pass
    assert capsys.readouterr() == ("", "")


def test_progress_shows_on_a_terminals_stderr_only(monkeypatch, capsys):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with working_on("reading 5 files"):
        pass
    assert "reading 5 files" in terminal.getvalue()
    assert capsys.readouterr().out == ""


def test_what_is_being_done_is_one_line_on_a_terminal_and_lines_in_a_log(monkeypatch, capsys):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    with following() as say:
        say("test 1 of 2")
        say("test 2\x1b[2J of 2")
    assert capsys.readouterr().err.splitlines()[0] == "test 1 of 2"
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with following() as say:
        say("test 2\x1b[2J of 2")
    assert "of 2" in terminal.getvalue()
    assert "\x1b[2J" not in terminal.getvalue()


@pytest.mark.skipif(os.name != "posix", reason="pipes end otherwise elsewhere")
@pytest.mark.parametrize(
    "call",
    ["show(*['a line' * 1000] * 1000)", "[show_json({'a': 'b' * 500000}) for _ in range(9)]"],
)
def test_a_reader_who_leaves_ends_the_program_without_a_word(call):
    code = f"from linkfit.cli.console import show, show_json; {call}"
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as program:
        program.stdout.read(1)
        program.stdout.close()
        assert (program.stderr.read(), program.wait()) == (b"", READER_GONE)
