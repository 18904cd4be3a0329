import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.report import figure_style
from linkfit.report.figure_style import (
    MAX_POINTS,
    in_house_style,
    new_figure,
    put_legend_below,
    save_figure,
    thinned,
)


@in_house_style
def a_figure():
    figure, axes = new_figure("A line")
    axes.plot([0, 1], [0, 2], label="a line")
    put_legend_below(figure)
    return figure


def test_an_svg_is_valid_and_the_same_on_a_second_run(tmp_path):
    first = save_figure(a_figure(), tmp_path / "a.svg").read_bytes()
    (tmp_path / "again").mkdir()
    assert save_figure(a_figure(), tmp_path / "again" / "a.svg").read_bytes() == first
    assert ET.fromstring(first).tag == "{http://www.w3.org/2000/svg}svg"
    assert not re.search(rb"<dc:date>|\b20\d\d-\d\d-\d\dT", first)


def test_two_files_share_no_id_so_that_a_page_can_hold_both(tmp_path):
    ids = []
    for name in ("a.svg", "b.svg"):
        text = save_figure(a_figure(), tmp_path / name).read_text()
        ids.append(set(re.findall(r'id="([mp][0-9a-f]{10})"', text)))
    assert ids[0]
    assert not ids[0] & ids[1]


def test_a_png_is_the_same_on_a_second_run(tmp_path):
    first = save_figure(a_figure(), tmp_path / "a.png").read_bytes()
    assert first.startswith(b"\x89PNG\r\n\x1a\n")
    assert save_figure(a_figure(), tmp_path / "b.png").read_bytes() == first


def test_another_ending_is_named(tmp_path):
    with pytest.raises(InputError, match=r"figure format: expected 'svg' or 'png', got 'gif'"):
        save_figure(a_figure(), tmp_path / "a.gif")


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(InputError, match=r"can be written, got '.*missing/a\.svg'"):
        save_figure(a_figure(), tmp_path / "missing" / "a.svg")


def test_the_palette_is_the_published_one():
    """Okabe & Ito, "Color universal design" (2002), its eight colours; values from memory."""
    rgb = {
        "BLACK": (0, 0, 0), "ORANGE": (230, 159, 0), "SKY_BLUE": (86, 180, 233),
        "GREEN": (0, 158, 115), "YELLOW": (240, 228, 66), "BLUE": (0, 114, 178),
        "VERMILION": (213, 94, 0), "PURPLE": (204, 121, 167),
    }  # fmt: skip
    for name, (red, green, blue) in rgb.items():
        assert getattr(figure_style, name) == f"#{red:02X}{green:02X}{blue:02X}", name


def test_a_short_curve_keeps_every_point():
    x, y = thinned([0, 1, 2], [5, 4, 3])
    assert x.tolist() == [0, 1, 2]
    assert y.tolist() == [5, 4, 3]


@given(st.integers(MAX_POINTS, 20_000), st.integers(0, 2**32 - 1))
def test_a_long_curve_keeps_its_extremes_and_its_order(n, seed):
    y = np.random.default_rng(seed).normal(size=n)
    x, kept = thinned(np.arange(n), y)
    assert x.size <= MAX_POINTS
    assert (np.diff(x) > 0).all()
    assert kept.min() == y.min()
    assert kept.max() == y.max()
    assert (y[x.astype(int)] == kept).all()
