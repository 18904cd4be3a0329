"""Backlogs on a screen."""

import io

from rich.console import Console

from linkfit.report.backlog_text import answers_text, backlogs_text, easing_lines

BACKLOG = {
    "name": "season photos", "p05_days": 0.5, "p50_days": 3.0, "p95_days": None,
    "binding": "data plan", "prob_by_deadline": 0.9, "prob_by_deadline_low": 0.8,
    "prob_by_deadline_high": 0.95, "refused": "", "unmeasured": "",
}  # fmt: skip


def shown(parts, width=80):
    console = Console(file=io.StringIO(), width=width, markup=False, emoji=False, highlight=False)
    for part in parts:
        console.print(part)
    return console.file.getvalue()


def test_a_backlog_that_the_path_refuses_says_why():
    text = shown(backlogs_text([BACKLOG | {"refused": "items exceed 100 MB"}]))
    assert "items exceed 100 MB" in " ".join(text.split())


def test_a_direction_that_was_never_measured_is_named():
    waits = shown(backlogs_text([BACKLOG | {"unmeasured": "up"}]), 120)
    assert "unknown: up was never measured" in waits


FULL = BACKLOG | {
    "p05_date": "2026-06-29", "p50_date": "2026-07-02", "p95_date": None, "start": "2026-06-29",
    "start_h": 6.5, "p50_low_days": 2.0, "p50_high_days": None, "why_never": "", "nights": None,
    "waiting": None, "binding_frac": {"rate": 0.2, "data plan": 0.8},
    "sooner": [
        {"what": "10 GB more plan", "p05_days": 1.4, "p50_days": 2.1, "p95_days": 3.0,
         "done_p50_days": 0.9},
        {"what": "1 Mbit/s more up", "p05_days": 0.0, "p50_days": 0.5, "p95_days": None,
         "done_p50_days": 2.5},
        {"what": "no other backlog", "p05_days": None, "p50_days": None, "p95_days": None,
         "done_p50_days": 8.0},
        {"what": "per-item cost halved", "p05_days": 0.0, "p50_days": 0.001, "p95_days": 0.002,
         "done_p50_days": 2.99},
    ],
}  # fmt: skip


def test_dates_stand_below_the_days():
    text = shown(backlogs_text([FULL]), 100)
    assert "2026-07-02" in text
    assert "Backlogs, from their start to done" in text


def test_the_chance_by_the_deadline_has_its_interval_below():
    lines = shown(backlogs_text([BACKLOG]), 120).splitlines()
    [row] = [number for number, line in enumerate(lines) if "season photos" in line]
    assert lines[row].endswith("90 %")
    assert lines[row + 1].strip() == "(80 to 95 %)"
    narrow = " ".join(shown(backlogs_text([BACKLOG]), 40).split())
    assert "by deadline: 90 % (80 to 95 %)" in narrow
    # what all drawn futures do is no certainty
    sure = {"prob_by_deadline": 1.0, "prob_by_deadline_low": 1.0, "prob_by_deadline_high": 1.0}
    assert ">99 % (>99 %)" in " ".join(shown(backlogs_text([BACKLOG | sure]), 40).split())


def test_each_easing_says_how_much_sooner():
    text = shown(answers_text([FULL]), 120)
    assert "10 GB more plan: 2.1 days sooner (34 h to 3.0 days)" in text
    assert "1 Mbit/s more up: 12 h sooner (0 to done instead of never)" in text
    assert "no other backlog: done after 8.0 days instead of never" in text
    assert "no gain found: per-item cost halved" in text
    assert "Counted from 2026-06-29, 06:30, local time." in text
    assert "lies within 2.0 days to never (90 %)" in text
    assert (
        "season photos: held back by data plan in 80 %, the rate of the link in 20 % of futures"
        in text
    )


def test_never_is_said_plainly():
    text = shown(answers_text([FULL | {"why_never": "never finishes: the link is dead"}]), 120)
    assert "season photos: never finishes: the link is dead" in text


def test_nights_and_waiting_in_words():
    nights = {"length_h": 6.0, "prob_first": 0.47, "prob_first_low": 0.31, "prob_first_high": 0.6,
              "p05_nights": 1.0, "p50_nights": 2.0, "p95_nights": None}  # fmt: skip
    days = {"p05_days": 1.0, "p50_days": 2.0, "p95_days": 3.0}
    waiting = {
        "window_start_h": 23.0, "window_end_h": 5.0, "now": days, "waited": days, "later": days,
        "n_unmeasured_hours": 2, "times_as_fast": {"p05": 1.1, "p50": 1.4, "p95": 1.8},
    }  # fmt: skip
    text = shown(answers_text([FULL | {"nights": nights, "waiting": waiting}]), 120)
    assert "done within the first 6.0 h: 47 % (90 %: 31 to 60 %)." in text
    assert "Days of 6.0 h each that it takes: 2 (90 %: 1 to never)" in text
    assert "only from 23:00 to 05:00: 2.0 days (90 %: 24 h to 3.0 days)" in text
    assert "1.40 times as fast (90 %: 1.10 to 1.80) as in the others" in text
    assert "no gain found:" in text  # of the easing alone
    assert "2 hours of it were never measured: test then" in text
    slow = waiting | {"times_as_fast": {"p05": 0.9, "p50": 1.0, "p95": 1.1}}
    assert "others; no gain found" in shown(answers_text([FULL | {"waiting": slow}]), 120)
    unknown = waiting | {"times_as_fast": None}
    assert "no daily pattern was measured" in shown(answers_text([FULL | {"waiting": unknown}]))


def test_the_deadline_has_no_column_where_there_is_none():
    assert "by deadline" not in shown(backlogs_text([BACKLOG | {"prob_by_deadline": None}]), 120)
    unmeasured = BACKLOG | {"prob_by_deadline": None, "unmeasured": "up"}
    assert "up was never measured" in shown(backlogs_text([unmeasured]), 120)


def test_hours_that_hold_by_their_opening_say_why_longer_hours_gain_nothing():
    longer = {"what": "one more hour up a day", "constraint": "hours", "p05_days": 0.0,
              "p50_days": 0.0, "p95_days": 0.0, "done_p50_days": 3.0}  # fmt: skip
    waits = FULL | {"binding": "hours", "sooner": [longer]}
    text = " ".join(shown(answers_text([waits]), 120).split())
    assert "the hours in which it may run" in text
    assert "no gain found: one more hour up a day" in text
    assert "by the wait until they open, counted from 06:30 on" in text
    gains = waits | {"sooner": [longer | {"p50_days": 1.0, "p95_days": 2.0}]}
    assert "until they open" not in " ".join(shown(answers_text([gains]), 80).split())


def test_one_line_a_backlog_tells_what_would_end_it_sooner():
    assert easing_lines([FULL]) == [
        "season photos, each alone (90 %): 10 GB more plan: 2.1 days sooner (34 h to 3.0 days); "
        "1 Mbit/s more up: 12 h sooner (0 to done instead of never); "
        "no other backlog: done after 8.0 days instead of never"
    ]
    assert easing_lines([FULL | {"sooner": []}, FULL | {"unmeasured": "up"}]) == []


def test_what_it_rests_on_is_said_once_for_all():
    one = FULL | {"assumed": ["the plan's cycles begin on day 5 of each month"]}
    text = shown(answers_text([one, one | {"name": "letters"}]))
    assert text.count("- assumed: the plan's cycles begin on day 5 of each month") == 1
