import numpy as np
import pytest

from linkfit.forecast.data_use import RATE_SIGMA
from linkfit.forecast.plan_use import DAY_COV
from linkfit.report.page.basis import (
    assumptions_section,
    cautions_section,
    inputs_section,
    measurements_section,
    missing_section,
)
from linkfit.report.page.blocks import Bullets, Listed, Paragraph, Table

pytestmark = pytest.mark.slow


def test_assumptions_have_an_owner_and_a_source_and_the_numbers_in_force(material):
    tables = [b for b in assumptions_section(material).blocks if isinstance(b, Table)]
    rows = [row for table in tables for row in table.rows]
    assert all(row[2] and row[3] for row in rows)
    text = " ".join(cell for row in rows for cell in row)
    assert f"factor of {np.exp(1.645 * RATE_SIGMA):.1f}" in text
    assert f"deviation {DAY_COV:g}" in text


def test_less_than_a_year_is_said_to_be_less_than_a_year(material, inputs):
    section = measurements_section(material, inputs)
    texts = [block.text for block in section.blocks if isinstance(block, Paragraph)]
    assert any("The record spans 8 days, less than a year" in text for text in texts)
    table = next(block for block in section.blocks if isinstance(block, Table))
    assert table.rows[0][3] == "2026-06-01 to 2026-06-08"


def test_what_is_missing_comes_with_its_cost(material):
    items = next(b for b in missing_section(material).blocks if isinstance(b, Bullets)).items
    assert any("MB" in item for item in items)
    assert any("round trips were never measured" in item for item in items)


def test_cautions_of_the_site_are_all_there(material):
    section = cautions_section(material.advice.cautions, ())
    assert section.blocks[0].items == material.advice.cautions
    assert any("emergency calls" in item for item in section.blocks[0].items)


def test_the_inputs_hold_the_file_letter_by_letter(inputs):
    section = inputs_section(inputs)
    listed = next(block for block in section.blocks if isinstance(block, Listed))
    assert listed.text == inputs.site_text
    table = next(block for block in section.blocks if isinstance(block, Table))
    assert inputs.site_sha256 in {row[1] for row in table.rows}


def test_the_report_that_it_is_compared_with_is_among_the_inputs(inputs):
    from dataclasses import replace

    from linkfit.report.page.answers import Answers

    earlier = Answers(version="0.9", seed=7, site="x", link_sha256="f" * 64, services=(),
                      numbers=(), records=(), settings={})  # fmt: skip
    section = inputs_section(replace(inputs, earlier=earlier))
    table = next(block for block in section.blocks if isinstance(block, Table))
    told = dict(table.rows)["compared with"]
    assert told == f"the report of linkfit 0.9, seed 7, fitted link {'f' * 64}"


def test_assumptions_are_said_as_factors_and_without_false_digits(material):
    table = assumptions_section(material).blocks[0]
    values = {row[0]: row[1] for row in table.rows}
    # exp(1.645 * 0.3): nine in ten of a normal logarithm lie within 1.645 of its deviations
    assert values["how well a stated number a day is known"] == "nine in ten within a factor of 1.6"
    assert values["cap of the data plan"].startswith("4 GB, ")
    assert not any("e to the" in value or "+-" in value for value in values.values())
