"""The twenty-five questions of the README: each command runs and answers with an interval."""

import re
import shlex
from pathlib import Path

import pytest

from linkfit.cli.app import main

ROOT = Path(__file__).parents[2]
_ROW = re.compile(
    r"^\| (?P<number>\d+) \| (?P<question>[^|]+\?) \| `(?P<command>[^`|]+)` \|$", re.MULTILINE
)
ROWS = [match.groupdict() for match in _ROW.finditer((ROOT / "README.md").read_text("utf-8"))]
# "3.9 to 4.7 h", "260 ms to 4.5 s", "15 days to 27 days": two numbers with "to" between them
_INTERVAL = re.compile(r"\d[\d.,:+-]*(?: ?[A-Za-z%/]{1,6}){0,2} to [<>]?\d")


def test_there_are_twenty_five():
    assert [int(row["number"]) for row in ROWS] == list(range(1, 26))


@pytest.mark.slow
@pytest.mark.parametrize("row", ROWS, ids=[row["number"] for row in ROWS])
def test_the_command_answers_with_a_number_and_an_interval(row, capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "100")
    program, *arguments = shlex.split(row["command"])
    assert program == "linkfit"
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    out, err = capsys.readouterr()
    assert ended.value.code == 0, err
    assert _INTERVAL.search(" ".join(out.split())), out
