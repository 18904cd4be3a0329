import pytest

pytestmark = pytest.mark.slow

NEEDED = ("verdicts", "changes", "costs", "data", "backlogs", "busy-hour", "interactive", "missing",
          "cautions", "calculator", "tasks", "payloads", "users", "ledger", "link-up", "link-down",
          "latency", "measurements", "assumptions", "inputs")  # fmt: skip


def test_all_of_it_is_there_and_answers_come_first(report):
    assert tuple(section.key for section in report.sections) == NEEDED
    parts = [section.part for section in report.sections]
    assert parts == sorted(parts)  # "answers" before "evidence"


def test_what_was_set_beside_the_file_is_told(material, inputs):
    from dataclasses import replace

    from linkfit.report.page.content import report_of

    site = replace(material.site, what_if=("plan.cap: 4 GB -> 100 GB",))
    found = report_of(replace(material, site=site), inputs)
    assert "what if: plan.cap" in found.subtitle
