import io

import pytest
from rich.console import Console

from linkfit.report.plan_tests_json import plan_tests_record
from linkfit.report.plan_tests_text import plan_tests_text
from tests.report.test_plan_tests_json import asked


def shown(width=80, **given):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False)
    for part in plan_tests_text(plan_tests_record(asked(**given))):
        console.print(part)
    return out.getvalue()


def test_how_many_when_how_long_at_what_cost():
    text = shown(200, cap=5e9, budget=100e6)
    assert "Tests until the median within 20 % is known, at 95 %" in text
    assert "night, 0-6 h" in text
    assert "0:00 and 3:00" in text
    assert "4 s a test, one test with 1 stream, one with 4" in text
    assert "linkfit measure --server HOST --budget SIZE --seconds 4 --streams 1 --streams 4" in text
    assert "100 MB pay for 9 cells" in text  # two tests of 4 s at 10 Mbit/s and headers: 11 MB
    assert "of 5.00 GB" in text
    assert "2 % of a plan at most" in text


def test_reached_is_said_and_nothing_asked():
    text = shown(rates=[6e6, 6.1e6] * 40)
    assert text.startswith("Reached: the median within 20 %")
    assert "further cells" not in text
    assert "by ranks" in text


def test_the_5th_percentile_names_its_floor():
    assert "59 cells are the fewest" in " ".join(shown(of="p05", width=70).split())


@pytest.mark.parametrize("width", [40, 80])
def test_lines_fit_the_terminal(width):
    text = shown(width, rates=[6e6, 4e6, 8e6], share=0.7, cap=5e9, budget=1e6)
    assert all(len(line) <= width for line in text.splitlines())
    assert "70 %" in text


def test_cells_are_also_told_as_tests():
    record = plan_tests_record(asked(rates=[6e6, 4e6, 8e6]))
    (up,) = record["directions"]
    assert up["tests_more"] == 2 * up["cells_more"]["p50"]
    text = shown(rates=[6e6, 4e6, 8e6])
    row = text.split("further cells")[1].split("up ")[1].splitlines()[0].split()
    assert row == [str(up["cells_more"][key]) for key in ("p05", "p50", "p95")] + [
        str(up["tests_more"])
    ]


def test_a_plan_far_too_small_is_not_told_to_measure_for_years():
    usual, tiny = (" ".join(shown(cap=cap).split()) for cap in (5e9, 1e7))
    assert "spread it over" in usual
    assert "spread it over" not in tiny
    assert "at most: accept a wider interval (--width), or say what it may cost" in tiny
