from datetime import UTC

import pytest
from rich.console import Console

from linkfit.report.status_text import status_text

USE = {
    "cycle_begin": "2026-07-05T00:00:00+00:00", "cycle_end": "2026-08-05T00:00:00+00:00",
    "down_bytes": 12e9, "up_bytes": 2.4e9, "tests_bytes": 8e7, "watched_frac": 0.97,
    "counted": "both", "counted_bytes": 14.4e9, "cap_bytes": 20e9, "n_whole_days": 40,
    "cycle_bytes": {"p05": 40e9, "p50": 44e9, "p95": 48e9},
    "exhausted": {"p05": "2026-07-18T09:00:00+00:00", "p50": "2026-07-18T20:00:00+00:00",
                  "p95": None},
    "exhausted_prob": 0.93,
}  # fmt: skip
CHANGED = {
    "name": "rate of tests up", "unit": "bit/s", "n_days": 40, "changed": True, "p": 1e-6,
    "since": "2026-06-30T00:00:00+00:00", "before": {"p05": 5.8e6, "p50": 6e6, "p95": 6.2e6},
    "after": {"p05": 2.8e6, "p50": 3e6, "p95": 3.2e6},
}  # fmt: skip
SAME = CHANGED | {"name": "rate of tests down", "changed": False, "p": 0.4}
FEW = CHANGED | {"name": "idle round trip", "changed": None, "n_days": 3}
RECORD = {
    "schema": "linkfit/status/1", "store": "camp.store", "now": "2026-07-15T00:00:40+00:00",
    "interface": "wwan0", "size_bytes": 3e6, "first_sample": "2026-06-05T00:00:00+00:00",
    "last_sample": "2026-07-15T00:00:30+00:00", "last_round_trip": "2026-07-15T00:00:00+00:00",
    "last_test": None, "events": {"started": 3, "interface gone": 4}, "use": USE,
    "changes": [CHANGED, SAME, FEW], "false_alarm_prob": 0.01, "refit": True,
    "refit_since": "2026-06-30T00:00:00+00:00",
}  # fmt: skip


def shown(record, columns=80):
    console = Console(width=columns, no_color=True)
    with console.capture() as caught:
        for part in status_text(record, UTC):
            console.print(part)
    text = caught.get()
    assert max(len(line) for line in text.splitlines()) <= columns
    return " ".join(text.split())


@pytest.mark.parametrize("columns", [80, 40])
def test_a_record_that_runs(columns):
    text = shown(RECORD, columns)
    assert "Recording: the last sample is 10 s old." in text
    assert "14.4 GB of 20.0 GB used (72 %), both directions counted." in text
    assert "Sat 18 Jul 20:00" in text
    assert "not in this cycle" in text
    assert "before the cycle ends: 93 %, from the use of 40 whole days" in text
    assert "about 30 June 2026, from 6.00 Mbit/s (5.80 Mbit/s to 6.20 Mbit/s) to 3.00" in text
    assert "no change in 40 days beyond chance (p = 0.4)" in text
    assert "idle round trip: 3 days measured, too few to tell" in text
    assert "1 % of looks at a link that never changed say that one did" in text
    assert "Fit the link again from what was measured since 30 June 2026" in text
    assert "interface gone: 4" in text
    assert "started" not in text


def test_a_record_that_stopped_and_one_that_never_began():
    assert "NOT RECORDING: the last sample is 2.0 h old" in shown(
        RECORD | {"last_sample": "2026-07-14T22:00:00+00:00"}
    )
    empty = {"last_sample": None, "first_sample": None, "last_round_trip": None}
    assert "Nothing is recorded yet" in shown(RECORD | empty)


def test_a_cap_that_is_used_up_none_and_too_few_days():
    assert "The cap is used up." in shown(RECORD | {"use": USE | {"counted_bytes": 21e9}})
    assert "No cap given" in shown(RECORD | {"use": USE | {"cap_bytes": None}})
    few = USE | {"exhausted": None, "n_whole_days": 1}
    assert "1 whole day seen: too few for a date" in shown(RECORD | {"use": few})


def test_nothing_changed():
    text = shown(RECORD | {"changes": [SAME], "refit": False, "refit_since": None})
    assert "No reason to fit the link again." in text
