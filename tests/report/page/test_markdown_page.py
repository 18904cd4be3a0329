"""Markdown read by a CommonMark parser: the same content, and no name acts in it."""

import pytest

from linkfit.report.page.markdown_page import markdown_page, plain

markdown_it = pytest.importorskip("markdown_it")


def rendered(text):
    return markdown_it.MarkdownIt("commonmark", {"html": True}).enable("table").render(text)


@pytest.mark.parametrize("text", [
    "<script>alert(1)</script>", "[x](javascript:alert(1))", "![x](http://example.org/a.png)",
    "**bold** _it_ `code` ~~gone~~", "a | b", "<http://example.org>", "&lt;b&gt;", "\\<b>",
    "# not a heading", "http://example.org www.example.org",
])  # fmt: skip
def test_no_text_acts(text):
    found = rendered(f"{plain('x ' + text)}")
    for tag in ("<script", "<a ", "<img", "<strong", "<em", "<code", "<h1", "<del", "<b>"):
        assert tag not in found
    assert found.count("<p>") == 1


def test_a_cell_stays_one_cell():
    found = rendered(f"| {plain('a | b')} | c |\n| --- | --- |\n| {plain('d|e')} | f |\n")
    assert found.count("<td>") == 2
    assert found.count("<th>") == 2


@pytest.mark.slow
def test_all_sections_tables_and_findings_are_there(report, markdown):
    for section in report.sections:
        assert f"### {plain(section.title)}" in markdown
    for picture in report.pictures():
        assert plain(picture.finding) in markdown
    assert rendered(markdown).count("<table>") >= 10


@pytest.mark.slow
def test_hostile_names_are_harmless(markdown):
    found = rendered(markdown)
    assert "<script" not in found.split("<pre>")[0]
    assert "<img" not in found
    assert "javascript:" not in "".join(part for part in found.split('href="')[1:])
    assert "\x1b" not in markdown
    assert "\u202e" not in markdown


@pytest.mark.slow
def test_the_same_report_gives_the_same_text(report, markdown):
    assert markdown_page(report) == markdown
