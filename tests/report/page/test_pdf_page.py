"""The PDF: whole, same bytes, its text that of the report, no name acts in it."""

import re
import zlib

import pytest

from linkfit.report.figure_style import in_house_style, new_figure
from linkfit.report.page.blocks import Paragraph, Picture, Report, Section, Table
from linkfit.report.page.pdf_page import pdf_page

HOSTILE = ("</script>(x) Tj", "\x1b[31mred", "\u202egpj.exe", "$x_1$ \\frac", "=cmd()|")


def small(*texts, rows=()):
    blocks = [Paragraph(text=text) for text in texts]
    if rows:
        blocks.append(Table(caption="c", header=("a", "b"), rows=tuple(rows), numeric=(1,)))
    section = Section(key="k", title="Section", part="answers", blocks=tuple(blocks))
    return Report(title="Title", subtitle="sub", sections=(section,))


def n_pages(data):
    return len(re.findall(rb"/Type /Page\b(?!s)", data))


def streams(data):
    found = b""
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            found += zlib.decompress(match.group(1))
        except zlib.error:
            continue
    return found


def test_it_is_a_pdf_with_the_same_bytes_each_time():
    data = pdf_page(small("a", rows=[("x", "1")]))
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    assert data == pdf_page(small("a", rows=[("x", "1")]))
    assert b"CreationDate" not in data


def test_a_long_table_goes_on_with_its_header_on_the_next_page():
    data = pdf_page(small(rows=[(f"row {n}", f"{n} s") for n in range(150)]))
    assert n_pages(data) >= 3


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_drawn_and_never_obeyed(text):
    data = pdf_page(small(text, rows=[(text, text)]))
    assert n_pages(data) == 1
    for acting in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/OpenAction"):
        assert acting not in data
    assert b"\x1b" not in streams(data).split(b"glyf")[0][:2000]


@pytest.mark.parametrize("n_words", [10, 300])
def test_what_there_is_to_see_stands_beside_the_figure_on_its_page(n_words):
    picture = Picture(name="p", figure=a_figure(), caption="Rates", finding="word " * n_words)
    before = tuple(Paragraph(text="a line") for _ in range(38))  # little room is left
    section = Section(key="k", title="Section", part="answers", blocks=(*before, picture))
    data = pdf_page(Report(title="Title", subtitle="sub", sections=(section,)))
    assert n_pages(data) == 2


@in_house_style
def a_figure():
    figure, axes = new_figure("A line")
    axes.plot([0, 1], [0, 2])
    return figure


@pytest.mark.slow
def test_the_report_has_its_pages_and_figures(report):
    data = pdf_page(report)
    assert n_pages(data) >= 8
    assert data.count(b"/Subtype /Image") >= len(report.pictures())
    assert len(data) < 4_000_000
