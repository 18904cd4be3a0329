"""The page as text: valid, whole without a network, hostile names harmless, same bytes."""

import re
from itertools import pairwise

import html5lib
import pytest

from linkfit.report.page.html_page import harmless_lines, html_page

pytestmark = pytest.mark.slow

MOST_BYTES = 2_000_000


@pytest.fixture(scope="module")
def tree(page):
    return html5lib.parse(page, treebuilder="etree", namespaceHTMLElements=False)


def test_it_is_valid_for_a_strict_parser(page):
    html5lib.HTMLParser(strict=True).parse(page)


def test_it_is_small(page):
    assert len(page.encode("utf-8")) < MOST_BYTES


def test_the_same_report_gives_the_same_bytes(page, report, inputs):
    assert html_page(report, inputs) == page


def test_nothing_in_it_points_outside(page, tree):
    for element in tree.iter():
        for name, value in element.attrib.items():
            if str(name).rsplit("}", 1)[-1] in {"src", "href", "srcset", "action", "poster"}:
                assert value.startswith("#"), (element.tag, name, value)
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_names_are_text_and_never_markup(tree, page):
    scripts = list(tree.iter("script"))
    assert [one.get("type") for one in scripts] == ["application/json"] * 3 + [None]
    assert not list(tree.iter("img"))
    assert not [one for one in tree.iter() if any(str(a).startswith("on") for a in one.attrib)]
    text = "".join(tree.itertext())
    assert "<script>alert(1)</script>" in text  # shown as it was written
    for acting in ("\x1b", "\u202e"):
        assert acting not in page


def test_ids_are_unique_and_every_reference_is_met(tree):
    ids = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    wanted = set()
    for one in tree.iter():
        for name, value in one.attrib.items():
            if name in {"for", "aria-labelledby", "aria-describedby"}:
                wanted |= set(value.split())
            if str(name).endswith("href"):
                wanted.add(value.removeprefix("#"))
    assert wanted <= set(ids)


def test_headings_go_down_one_step_at_a_time(tree):
    levels = [int(one.tag[1]) for one in tree.iter() if re.fullmatch("h[1-6]", str(one.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_scoped_headers(tree):
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(one.get("scope") for one in table.iter("th"))


def test_every_drawing_states_its_finding(tree):
    drawings = [one for one in tree.iter() if str(one.tag).endswith("svg")]
    captions = {one.get("id"): "".join(one.itertext()) for one in tree.iter("figcaption")}
    assert len(drawings) >= 12
    for drawing in drawings:
        assert len(captions[drawing.get("aria-labelledby")]) > 40


def test_a_listing_keeps_its_lines_and_loses_what_acts():
    assert harmless_lines("a\nb\x1b[31m\r\nc") == "a\nb\\x1b[31m\nc"


def test_a_number_keeps_its_unit_and_an_interval_its_brackets(tree):
    parts = ["".join(one.itertext()) for one in tree.iter("span") if one.get("class") == "whole"]
    assert len(parts) > 100
    assert all(part.count("(") == part.count(")") for part in parts)
    assert any(part.startswith("(") for part in parts)
