from hypothesis import given
from hypothesis import strategies as st

from linkfit.report.page.pdf_text import column_widths, width_pt, wrapped, wrapped_number

WORDS = st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=30)


@given(WORDS, st.floats(60, 500))
def test_lines_fit_and_hold_every_letter(words, room):
    lines = wrapped(" ".join(words), room, 9.0)
    assert all(width_pt(line, 9.0) <= room for line in lines)
    assert "".join(lines).replace(" ", "") == "".join(words)


def test_a_word_longer_than_the_line_is_cut():
    lines = wrapped("x" * 200, 100.0, 9.0)
    assert len(lines) > 1
    assert "".join(lines) == "x" * 200


def test_bold_letters_are_wider():
    assert width_pt("answers", 10, bold=True) > width_pt("answers", 10)


def test_columns_fill_the_room_and_narrow_ones_get_what_they_ask():
    rows = [("name", "12 s"), ("a very long text " * 10, "3 s")]
    wide, narrow = column_widths(rows, 300.0, 8.0)
    assert narrow == max(width_pt(row[1], 8.0, bold=True) for row in rows)
    assert wide + narrow <= 300.0 + 1e-6


def test_columns_that_fit_keep_their_own_width():
    rows = [("a", "b")]
    assert sum(column_widths(rows, 300.0, 8.0)) < 50


def test_a_number_is_parted_from_its_interval_before_anything_else():
    text = "370 ms (220 to 380 ms)"
    assert wrapped_number(text, 300.0, 8.0) == [text]
    assert wrapped_number(text, 80.0, 8.0) == ["370 ms", "(220 to 380 ms)"]
    assert wrapped_number("no target", 300.0, 8.0) == ["no target"]
