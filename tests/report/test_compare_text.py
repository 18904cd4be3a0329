import io

import pytest
from rich.console import Console

from linkfit.report.compare_text import compare_text


def rate(first, second, *, real=False):
    gap = second - first
    return {"first_bps": first, "second_bps": second, "difference_bps": gap,
            "low_bps": gap - 1e5, "high_bps": gap + 1e5, "real": real}  # fmt: skip


def rates_of(bps):
    return {f"{key}{end}_bps": bps * factor for key, factor in
            (("p05", 0.5), ("p50", 1.0), ("mean", 1.1), ("p95", 2.0))
            for end in ("", "_low", "_high")}  # fmt: skip


def record(first=2e6, second=4e6, *, real=True, to_tell=None, site=None):
    up = {
        "direction": "up",
        "why_not": "",
        "to_tell": to_tell,
        **{key: rate(first, second, real=real) for key in ("p05", "p50", "p95", "mean")},
    }
    down = {"direction": "down", "why_not": "never measured on A", "to_tell": None}
    pair = {
        "first": "A",
        "second": "B",
        "difference_is_real": real,
        "rates": [up, down],
        "verdict_changes": [],
        "tasks": [],
        "backlogs": [],
        "cautions": [],
        "prob_first_better": 0.0,
        "prob_alike": 0.25,
        "prob_second_better": 0.75,
    }
    links = [
        {
            "name": name,
            "cost_per_month": cost,
            "prob_best": 0.5,
            "n_fit": None,
            "services": [{"name": "chat", "verdict": verdict}],
            "rates": {"up": rates_of(bps)},
        }
        for name, cost, verdict, bps in (
            ("A", 30.0, "fits", first),
            ("B", None, "does not fit", second),
        )
    ]
    return {"site": site, "links": links, "pairs": [pair]}  # fmt: skip


def shown(one, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, highlight=False, emoji=False)
    for part in compare_text(one):
        console.print(part)
    return out.getvalue()


def words(one, width=80):
    return " ".join(shown(one, width).split())


def test_a_real_difference_is_said_with_its_factor():
    text = words(record())
    assert ("B against A, up: REAL, the median second is faster by a factor of 2.0 "
            "(4.00 Mbit/s against 2.00 Mbit/s)") in text  # fmt: skip
    assert "B against A, down: not compared, never measured on A" in text


def test_no_real_difference_says_why_and_what_would_tell():
    more = {"ratio": 1.3, "n_tests": 12, "first_bytes": 3e7, "second_bytes": 6e7}
    text = words(record(real=False, to_tell=more))
    assert "NOT REAL: the median second is faster by a factor of 2.0" in text
    assert "the difference is within what one link shows from one day to the next" in text
    assert "To show a difference of 30 % between the mean rates" in text
    assert "about 12 more tests of 10 s on each" in text
    assert "for 30 MB and 60 MB of data" in text


def test_what_no_measuring_would_tell_is_said():
    more = {"ratio": 1.1, "n_tests": None, "first_bytes": 0.0, "second_bytes": 0.0}
    assert "Ten days of measuring nothing else would not show a difference of 10 %" in words(
        record(real=False, to_tell=more)
    )


def test_an_interval_stands_in_the_unit_of_its_rate():
    assert "(1.90 to 2.10)" in shown(record())


def test_a_difference_of_nothing_has_an_interval_with_a_unit():
    assert "(-100 to 100 kbit/s)" in shown(record(2e6, 2e6, real=False))


def test_verdicts_that_differ_are_marked_and_chances_are_never_certain():
    text = words(record(site="Kestrel Ridge dig"))
    assert "chat fits does not fit YES" in text
    assert "1 service of 1 would change." in text
    assert "A serves the site better with a chance of <1 %, B with 75 %" in text


def test_costs_that_are_known_are_told():
    assert "A: 30 a month" in words(record())


@pytest.mark.parametrize("width", [40, 80])
def test_bars_of_letters_share_one_scale(width):
    lines = [line for line in shown(record(), width).splitlines() if "o-" in line and "." in line]
    first, second = (line[:24] for line in lines[:2])
    assert first.index("o") < second.index("o")


def test_a_factor_that_rounds_to_one_is_said_as_such():
    assert "the median second is about the same (2.02 Mbit/s" in words(
        record(2e6, 2.02e6, real=False)
    )
