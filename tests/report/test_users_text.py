"""The screen of users: the answer, its ends, what is in the way, in the width of the terminal."""

import io

import pytest
from rich.console import Console

from linkfit.report.users_text import users_text


def shown(record, width=80):
    console = Console(file=io.StringIO(), width=width, markup=False, highlight=False)
    for part in users_text(record):
        console.print(part)
    return console.file.getvalue()


def a_task(**more):
    return {"name": "get", "flow": "out", "target_s": 10.0, "must_carry": True, "refused": "",
            "unmeasured": "", "max_users": 7, "max_users_low": 5, "max_users_high": 9,
            "max_users_at_limit": False, "curve": [], **more}  # fmt: skip


def a_point(**more):
    return {"n_users": 4, "p05_s": 1.0, "p50_s": 2.0, "p95_s": 9.0, "p95_low_s": 8.0,
            "p95_high_s": None, "prob_within_target": 0.97, "busy_frac": {"up": 0.45},
            **more}  # fmt: skip


def a_service(*tasks, **more):
    use = {"direction": "up", "busy_frac": 0.45, "others_frac": 0.25, "one_user_frac": 0.05,
           "p05_full_users": 12.0, "p50_full_users": 15.0, "p95_full_users": 18.0}  # fmt: skip
    return {"name": "photos", "kind": "x", "n_users": 4, "max_users": 7, "max_users_low": 5,
            "max_users_high": 9, "max_users_at_limit": False, "first_slow": "get",
            "fills_first": "up", "directions": [use], "tasks": list(tasks or (a_task(),)),
            **more}  # fmt: skip


def a_record(*services):
    return {"services": list(services), "busy_hour_h": 20.0, "timezone": "Europe/Lisbon"}


def test_the_answer_has_its_ends_and_what_fills():
    text = shown(a_record(a_service()))
    row = next(line for line in text.splitlines() if line.startswith("photos"))
    assert row.split()[1:6] == ["4", "7", "5", "9", "get"]
    assert "up at 15" in text
    assert "20 to 21 h, Europe/Lisbon" in text


def test_too_many_now_is_said():
    assert "photos: 3 too many now, for get" in shown(a_record(a_service(n_users=10)))
    assert "misses its target with one user" in shown(a_record(a_service(max_users=0)))


def test_no_limit_and_the_end_of_the_search():
    free = a_service(max_users=None, first_slow="", fills_first=None)
    assert " any" in shown(a_record(free))
    assert "200+" in shown(a_record(a_service(max_users=200, max_users_at_limit=True)))


def test_more_than_the_link_carries_is_said():
    text = shown(a_record(a_service(max_users=20, max_users_high=20)))
    assert "20 users ask for 125 % of the link up" in text


def test_a_link_that_the_others_fill_is_said():
    full = a_service(max_users=0)
    full["directions"][0].update(
        busy_frac=3.4, p05_full_users=0.0, p50_full_users=0.0, p95_full_users=0.0
    )
    text = shown(a_record(full))
    assert "up, full without them" in " ".join(text.split())
    assert "the site asks for 340 % of the link up in its busy hour" in " ".join(text.split())


def test_the_curve_shows_time_and_load():
    text = shown(a_record(a_service(a_task(curve=[a_point()]))))
    assert "up asked for" in text
    assert "8.0 s to never" in text
    assert "97 %" in text


def test_refused_and_unmeasured_are_told():
    refused = a_task(refused="its pieces exceed the path's body limit", max_users=0)
    text = shown(a_record(a_service(refused, a_task(name="add", unmeasured="down"))), width=120)
    assert "photos, get: its pieces exceed" in text
    assert "photos, add: nothing is known, down was never measured" in text


@pytest.mark.parametrize("width", [40, 80])
def test_it_keeps_to_the_terminal(width):
    text = shown(a_record(a_service(a_task(curve=[a_point()]), a_task(name="add"))), width)
    assert max(map(len, text.splitlines())) <= width
