import re
from importlib.resources import files

import html5lib
import pytest

from linkfit.report.figure_style import BLUE, in_house_style, new_figure
from linkfit.report.page.blocks import Picture
from linkfit.report.page.drawing import _TURNING, inline_svg


@in_house_style
def drawn(text="rate"):
    figure, axes = new_figure(text)
    axes.plot([0, 1, 2], [0, 1, 0], label="x", color=BLUE)
    axes.fill_between([0, 1, 2], [0, 1, 0], hatch="//", alpha=0.4)
    return figure


def svg(name="one", text="rate"):
    return inline_svg(
        Picture(name=name, figure=drawn(text), caption="c", finding="f"), f"{name}-label"
    )


def test_it_parses_strictly_as_part_of_a_page():
    page = (
        f"<!DOCTYPE html><html lang='en'><head><title>t</title></head><body>{svg()}</body></html>"
    )
    html5lib.HTMLParser(strict=True).parse(page)


def test_ids_belong_to_the_figure_and_every_reference_is_met():
    text = svg("mine")
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert all(name.startswith("mine-") for name in ids)
    assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', text)) == set(ids)


def test_ink_and_paper_turn_with_the_page():
    text = svg()
    assert "currentColor" in text
    assert "var(--blue)" in text
    assert not re.search("#000000|#ffffff|#0072b2", text)


def test_every_colour_that_turns_is_set_for_light_dark_and_print():
    style = (files("linkfit.report.page") / "templates" / "page.css").read_text(encoding="utf-8")
    for name in set(re.findall(r"var\((--[a-z]+)\)", svg() + "".join(_TURNING.values()))):
        assert style.count(f"{name}:") == 3, name


def test_it_is_described_by_its_finding():
    assert 'role="img" aria-labelledby="one-label"' in svg()


def test_the_same_figure_gives_the_same_bytes():
    assert svg() == svg()


@pytest.mark.parametrize("text", ["</svg><script>alert(1)</script>", "a\u202eb", "\x1b[31m"])
def test_no_text_reaches_the_markup(text):
    # letters are paths: matplotlib draws them, it does not write them
    found = svg(text=text)
    assert "alert" not in found
    assert "\u202e" not in found
    assert "\x1b" not in found
