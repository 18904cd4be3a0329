import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.text import Text

from linkfit.report.listing import Column, Listing, apart, as_text, bullets, heading, sentence

COLUMNS = (
    Column(heading="task", prose=True),
    Column(heading="median", right=True),
    Column(heading="sure to be within", right=True),
)


def shown(*parts, width):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in parts:
        console.print(part)
    return out.getvalue()


def a_listing(*rows):
    listing = Listing(columns=COLUMNS)
    for row in rows:
        listing.add(*row)
    return listing


def test_a_wide_terminal_gets_a_table():
    lines = shown(a_listing(("view a photo", "1.3 s", "1.1 to 1.6 s")), width=80).splitlines()
    assert lines[0].split() == ["task", "median", "sure", "to", "be", "within"]
    assert set(lines[1].strip()) == {"─"}
    assert re.fullmatch(r"view a photo\s+1\.3 s\s+1\.1 to 1\.6 s\s*", lines[2])


def test_a_narrow_terminal_gets_blocks_with_every_word():
    text = shown(a_listing(("view a photo", "1.3 s", "1.1 to 1.6 s"), ("b", "2 s", "")), width=36)
    assert text == (
        "view a photo\n  median: 1.3 s\n  sure to be within: 1.1 to 1.6 s\n\nb\n  median: 2 s\n"
    )


def test_prose_wraps_before_the_table_is_given_up():
    text = shown(a_listing(("a task with quite a long name for it", "1.3 s", "1 s")), width=50)
    assert "─" in text
    assert "median" in text.splitlines()[0]


@given(
    st.lists(
        st.tuples(*[st.text(st.characters(codec="ascii", categories=["L", "N"]), max_size=30)] * 3),
        min_size=1,
        max_size=4,
    ),
    st.integers(min_value=20, max_value=120),
)
def test_no_letter_is_lost_and_no_line_too_long_at_any_width(rows, width):
    text = shown(a_listing(*rows), width=width)
    assert all(len(line) <= width for line in text.splitlines())
    for row in rows:
        for cell in row:
            # a longer word may fold, and other cells' pieces then stand between its lines
            assert cell in text or len(cell) > 12
    n_letters = len(re.sub(r"\W", "", "".join(map("".join, rows))))
    assert len(re.sub(r"\W", "", text)) >= n_letters


def test_file_text_cannot_act_and_markup_is_only_text():
    text = shown(a_listing(("[red]a\x1b[31m", "\u202e1 s", "[/]")), width=80)
    assert "[red]a\\x1b[31m" in text
    assert "\\u202e1 s" in text
    assert "\x1b" not in text


def test_a_row_of_another_length_is_a_bug():
    with pytest.raises(ValueError, match="expected 3, got 1"):
        a_listing(("alone",))


def test_text_with_a_style_stays_as_it_is():
    styled = Text("fits", style="green")
    assert as_text(styled) is styled


def test_bullets_indent_their_further_lines():
    text = shown(*bullets(["one two three four five"], indent=2), width=14)
    assert text == "  - one two\n    three four\n    five\n"


def test_a_paragraph_leaves_no_blank_at_a_lines_end():
    text = shown(sentence("some words and a longerwordthanthewidth \x1b[2J"), width=12)
    assert "longerwordth\nanthewidth" in text
    assert all(line == line.rstrip() and len(line) <= 12 for line in text.splitlines())
    assert "\x1b" not in text


def test_sections_stand_apart_and_empty_ones_leave_no_gap():
    parts = apart([[], [heading("a"), "1"], [], [heading("b")]])
    assert shown(*parts, width=40) == "a\n1\n\nb\n"
