import pytest

from linkfit.report.page.blocks import Picture, Table
from linkfit.report.page.link_evidence import latency_section, link_sections

pytestmark = pytest.mark.slow


def test_each_direction_shows_its_week_and_its_fit(material):
    for section, way in zip(link_sections(material), ("up", "down"), strict=False):
        names = {block.name for block in section.blocks if isinstance(block, Picture)}
        assert {f"{way}-week", f"{way}-distribution", f"{way}-quantiles",
                f"{way}-autocorrelation", f"{way}-variance-time"} <= names  # fmt: skip


def test_the_week_says_how_much_of_it_was_measured(material):
    section = link_sections(material)[0]
    week = next(b for b in section.blocks if isinstance(b, Picture) and b.name == "up-week")
    # six hours of seven days, and one day twice
    assert week.finding.startswith("42 of 168 hours of the week were measured, 126 never.")


def test_capacity_tells_five_minute_averages_of_the_slowest_hour(material):
    tables = [b for b in link_sections(material)[0].blocks if isinstance(b, Table)]
    assert any("slowest measured hour" in found.caption for found in tables)
    assert all("5 min" in [row[0] for row in found.rows] for found in tables)


def test_round_trips_that_were_never_measured_are_said_to_be_so(material):
    assert material.link.latency is None
    assert "never measured" in latency_section(material).blocks[0].text
