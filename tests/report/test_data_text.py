"""Data use on the screen."""

import io

from rich.console import Console

from linkfit.report.data_text import data_text

DATA = {
    "cap_bytes": 6e10, "p05_bytes": 5e10, "p50_bytes": 7e10, "p95_bytes": 9e10,
    "prob_over_cap": 0.7, "runs_out": {"p05": 20.0, "p50": 26.0, "p95": None},
    "ledger": [{"cause": "add a photo", "service": "finds catalogue", "p05_bytes": 3e10,
                "p50_bytes": 4e10, "p95_bytes": 5e10}],
}  # fmt: skip


def shown(parts, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in parts:
        console.print(part)
    return out.getvalue()


def words(text):
    return " ".join(text.split())


def test_small_causes_are_counted_and_not_hidden():
    sizes = {"p05_bytes": 1e5, "p50_bytes": 1e6, "p95_bytes": 1e7}
    ledger = [{"cause": f"cause {n}", "service": "", **sizes} for n in range(15)]
    text = words(shown(data_text(DATA | {"ledger": ledger})))
    assert "cause 11" in text
    assert "and 3 smaller causes (all of them: --json)" in text


def test_a_plan_without_a_cap_and_one_that_lasts():
    free = DATA | {"cap_bytes": None, "prob_over_cap": None, "runs_out": None}
    assert "the plan has no cap" in shown(data_text(free))
    lasts = DATA | {"runs_out": dict.fromkeys(("p05", "p50", "p95"))}
    assert "runs out after: never, in 19 of 20 cycles" in shown(data_text(lasts))


def test_each_cause_has_its_interval():
    text = words(shown(data_text(DATA)))
    assert "what spends it of 5 % median 95 %" in text
    assert "add a photo finds catalogue 30.0 GB 40.0 GB 50.0 GB" in text
    assert "70.0 GB (90 %: 50.0 to 90.0 GB) in a billing cycle" in text
