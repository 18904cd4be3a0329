import pytest

from linkfit.report.page.blocks import Picture, Table
from linkfit.report.page.evidence import (
    ledger_section,
    payload_section,
    tasks_section,
    users_section,
)

pytestmark = pytest.mark.slow


def table(section, n=0):
    return [block for block in section.blocks if isinstance(block, Table)][n]


def test_every_task_has_its_row(material):
    n_tasks = sum(len(one.tasks) for one in material.site.services)
    assert len(table(tasks_section(material)).rows) == n_tasks


def test_payloads_have_a_column_for_each_measured_direction(material):
    found = table(payload_section(material))
    assert len(found.header) == 3
    assert [row[0] for row in found.rows] == ["100 kB", "1 MB", "10 MB", "100 MB", "1 GB"]


def test_every_figure_states_a_finding(material):
    for section in (tasks_section, payload_section, users_section, ledger_section):
        for block in section(material).blocks:
            if isinstance(block, Picture):
                assert any(character.isdigit() for character in block.finding), block.name


def test_shares_of_the_ledger_never_exceed_the_whole(material):
    rows = table(ledger_section(material)).rows
    shares = [row[3] for row in rows]
    assert sum(int(s.strip(" %")) for s in shares if s[0].isdigit()) <= 100 + len(shares)


def test_what_works_after_the_cap_is_told_for_each_service(material):
    found = table(ledger_section(material), -1)
    assert [row[0] for row in found.rows] == [one.name for one in material.site.services]
