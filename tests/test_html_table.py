"""Tables for notebooks: checked by an HTML parser, with texts that try to act."""

from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.html_table import MOST_ROWS, html_table

ALLOWED = {"table", "caption", "thead", "tbody", "tr", "th", "td", "ul", "li"}


class Reader(HTMLParser):
    """Collects tags, their attributes and the text of cells; checks that tags are balanced."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.scopes, self.texts = [], [], [], []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attributes):
        self.open.append(tag)
        self.tags.append(tag)
        self.scopes += [value for name, value in attributes if name == "scope"]
        assert {name for name, _ in attributes} <= {"scope"}

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)


def test_headers_and_caption_are_marked_as_such():
    read = Reader(html_table("rates", ("what", "5 %"), [("up", "1 Mbit/s")], ["mind"]))
    assert read.scopes == ["col", "col", "row"]
    assert read.texts == ["rates", "what", "5 %", "up", "1 Mbit/s", "mind"]
    assert read.tags.count("li") == 1


@pytest.mark.parametrize(
    "hostile",
    ["<script>alert(1)</script>", '"><img src=x onerror=y>', "a\u202eb\x1b]0;x\x07", "&lt;b"],
)
def test_hostile_texts_are_shown_as_written(hostile):
    read = Reader(html_table(hostile, (hostile,), [(hostile,)], (hostile,)))
    assert set(read.tags) <= ALLOWED
    assert not {"\x1b", "\x07", "\u202e"} & set("".join(read.texts))


def test_more_rows_than_a_screen_are_counted():
    text = html_table("c", ("n",), [(str(i),) for i in range(MOST_ROWS + 2)], ["x"])
    read = Reader(text)
    assert read.tags.count("tr") == MOST_ROWS + 1
    assert read.texts[-1] == "and 2 more rows"


@given(st.text(max_size=80), st.text(max_size=80))
def test_any_text_leaves_a_balanced_table(caption, cell):
    assert set(Reader(html_table(caption, ("h", cell), [(cell, caption)])).tags) <= ALLOWED
