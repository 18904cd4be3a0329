"""Backlogs on a screen."""

import io

from rich.console import Console

from linkfit.report.backlog_text import backlogs_text

BACKLOG = {
    "name": "season photos", "p05_days": 0.5, "p50_days": 3.0, "p95_days": None,
    "binding": "data plan", "prob_by_deadline": 0.9, "refused": "",
    "unmeasured": "",
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
