"""The section on battery and panel: Wh of a day and of a GB, with intervals and cautions."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.advice.cautions import BATTERY_CARE, POWER_LIMITS
from linkfit.forecast.energy import battery_alone_h, site_energy
from linkfit.report.page.blocks import Bullets, Table
from linkfit.report.page.energy import energy_section
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Site

SUN = (1.6, 2.3, 3.4, 4.4, 5.2, 5.8, 6.0, 5.5, 4.3, 2.9, 1.9, 1.4)
HUT = Power(battery_wh=640, load_w=13, panel_w=120, sun_hours=3.7, output_frac=0.9)


@pytest.fixture(scope="module")
def section_of(report_link):
    def make(power):
        site = Site(name="hut", hours=Hours(power=power))
        story = site_energy(site, report_link, seed=1)
        return energy_section(SimpleNamespace(energy=story)), story

    return make


def lines(section, number=0):
    return [block for block in section.blocks if isinstance(block, Bullets)][number].items


def tables(section):
    return [block for block in section.blocks if isinstance(block, Table)]


def test_a_site_without_power_has_no_section(report_link):
    assert site_energy(Site(name="hut"), report_link, seed=0) is None
    assert energy_section(SimpleNamespace(energy=None)) is None


def test_the_numbers_are_those_of_the_arithmetic(section_of):
    section, story = section_of(HUT)
    facts = lines(section)
    # 13 W for 24 h through a converter of 90 %: 346.7 Wh, arithmetic
    assert (
        "to run all day would take 347 Wh (13 W for 24 h through a converter of 90 %)" in facts[1]
    )
    alone_h = battery_alone_h(HUT)
    assert alone_h == pytest.approx(640 * 0.85 * 0.9 / 13)
    assert f"a full battery alone carries the server for {alone_h:.3g} h" in facts[2]
    day_wh = story.day_wh(story.worst)
    assert float(day_wh.draws.max()) <= 24 * 13 / 0.9 * (1 + 1e-9)
    np.testing.assert_allclose(day_wh.draws, story.worst.days.draws * 13 / 0.9)


def test_every_number_has_its_unit_and_interval(section_of):
    section, _ = section_of(HUT)
    month, gain = tables(section)
    assert len(month.rows) == 1
    for cell in (*month.rows[0][2:4], gain.rows[0][1]):
        assert " h (" in cell
    assert " Wh (" in month.rows[0][4]
    up, down = lines(section)[3:]
    assert up.startswith("to send a GB, link up (server to internet): ")
    assert down.startswith("to receive a GB, link down (internet to server): ")
    assert all("Wh (" in text for text in (up, down))
    assert "more than if it were up and idle" not in up


def test_what_sending_adds_is_told_where_it_is_known(section_of):
    section, _ = section_of(replace(HUT, load_busy_w=15.0))
    assert "more than if it were up and idle" in lines(section)[3]


def test_by_month_the_worst_one_is_named(section_of):
    section, story = section_of(replace(HUT, sun_hours_by_month=SUN))
    assert story.worst.month == 12
    assert lines(section)[0].startswith("in December, the worst month, up for ")
    month, gain = tables(section)
    assert [row[0] for row in month.rows][::11] == ["January", "December"]
    assert "(December)" in gain.caption


def test_the_cautions_are_those_of_the_power_command(section_of):
    section, _ = section_of(HUT)
    assert {POWER_LIMITS, BATTERY_CARE} <= set(lines(section, 1))
