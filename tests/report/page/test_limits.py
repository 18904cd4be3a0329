import pytest

from linkfit.report.page.blocks import Bullets, Picture, Table
from linkfit.report.page.limits import (
    backlog_section,
    calculator_section,
    data_section,
    headroom_section,
)

pytestmark = pytest.mark.slow


def bullets(section):
    return " ".join(item for block in section.blocks if isinstance(block, Bullets)
                    for item in block.items)  # fmt: skip


def test_data_tell_the_chance_of_an_overrun_and_the_plan_that_lasts(material):
    text = bullets(data_section(material))
    assert "the cap is 4 GB; chance to want more:" in text
    assert "less than once in twenty cycles" in text
    assert "nobody asked for" in text


def test_the_fan_says_what_there_is_to_see(material):
    picture = next(b for b in data_section(material).blocks if isinstance(b, Picture))
    assert "By the middle of the cycle" in picture.finding
    assert "4 GB" in picture.finding


def test_a_backlog_tells_its_end_its_constraint_and_shadow_prices(material):
    section = backlog_section(material)
    text = bullets(section)
    assert "held back by" in text
    assert "chance to be done by 2026-07-31" in text
    table = next(b for b in section.blocks if isinstance(b, Table))
    assert any("1 Mbit/s more up" in row[0] for row in table.rows)


def test_the_busy_hour_is_named_with_its_headroom(material):
    section = headroom_section(material)
    table = next(b for b in section.blocks if isinstance(b, Table))
    assert "h (Europe/Lisbon)" in section.blocks[0].text
    assert "headroom to 70 %, of the load" in table.header
    assert "headroom to 80 %, of the load" in table.header
    assert len(table.rows) == len(material.uses)


def test_saturation_that_was_not_measured_is_said_to_be_so(material):
    assert "was not measured" in headroom_section(material).blocks[-1].text


def test_the_calculator_names_the_service_whose_users_it_counts(material):
    assert material.grid.service in calculator_section(material).blocks[0].text
