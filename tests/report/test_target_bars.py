import io

import pytest
from rich.console import Console

from linkfit.report.target_bars import MOST_BARS, target_bars


def task(name="view", target_s=2.0, times=(0.2, 2.0, 20.0), **words):
    p05_s, p50_s, p95_s = times
    return {"name": name, "target_s": target_s, "p05_s": p05_s, "p50_s": p50_s, "p95_s": p95_s,
            "must_carry": True, "refused": "", "unmeasured": ""} | words  # fmt: skip


def shown(*tasks, width=80, service="photos"):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, highlight=False, emoji=False)
    for part in target_bars([{"name": service, "tasks": list(tasks)}]):
        console.print(part)
    return out.getvalue().splitlines()


def test_the_target_stands_in_the_middle_of_every_bar():
    lines = shown(task(), task(target_s=5.0), task(times=(1.0, 1.1, None)))
    assert {line[:25].index("!") for line in lines[1:4]} == {12}


def test_in_time_is_left_of_the_target_and_late_is_right():
    early, late = shown(task(times=(0.2, 0.3, 1.0)), task(times=(4.0, 8.0, 20.0)))[1:3]
    assert early[:25].index("o") < 12 < late[:25].index("o")
    assert "-" not in early[13:25]
    assert "-" not in late[:12]


def test_a_bar_worked_by_hand():
    # letters are factors of 900^(1/25) = 1.313; a tenth: 12.5 - 25 ln(10) / ln(900) = 4.04, and
    # ten times: 20.96
    assert shown(task())[1] == "....--------!--------.... photos: view"


def test_a_hair_late_shows_on_the_late_side():
    late, early = shown(task(times=(1.0, 1.5, 2.02)), task(times=(1.0, 1.5, 1.98)))[1:3]
    assert late[12:14] == "!-"
    assert early[12:14] == "!."


def test_what_never_ends_points_to_the_right():
    assert shown(task(times=(1.0, None, None)))[1][24] == ">"


@pytest.mark.parametrize(("width", "letters"), [(80, 25), (40, 15)])
def test_narrow_screens_have_shorter_bars_and_no_longer_lines(width, letters):
    lines = shown(task(name="a task whose name is far too long for a phone " * 2), width=width)
    assert max(map(len, lines)) <= width
    (line,) = (line for line in lines if line.startswith("."))
    assert line[letters] == " "
    assert line[letters // 2] == "!"


def test_what_cannot_be_judged_has_no_bar():
    nothing = [task(target_s=None), task(refused="too large"), task(unmeasured="up"),
               task(must_carry=False)]  # fmt: skip
    assert shown(*nothing) == []


def test_many_tasks_are_counted():
    lines = shown(*[task()] * (MOST_BARS + 3))
    assert "and 3 more (all of them: --json)" in lines


def test_names_cannot_act():
    text = "\n".join(shown(task(name="\x1b[31m\u202e"), service="[red]"))
    assert "\x1b" not in text
    assert "[red]" in text
