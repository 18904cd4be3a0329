import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.report.plain import harmless


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("finds catalogue", "finds catalogue"),
        ("\x1b[31mred\x1b[0m", "\\x1b[31mred\\x1b[0m"),  # ECMA-48 colour
        ("\x9b31m", "\\x9b31m"),  # the same as one C1 character
        ("a\nb\tc", "a\\nb\\tc"),
        ("abc\u202egpj.exe", "abc\\u202egpj.exe"),  # UAX 9: right-to-left override
        ("a\u2066b\u2069", "a\\u2066b\\u2069"),
        ("[red]x[/red]", "[red]x[/red]"),  # markup is for the printer not to read
        ("é ü 写真 می‌خواهم", "é ü 写真 می‌خواهم"),
        ("zero\u200bwidth", "zero\\u200bwidth"),
        ("\ud800", "\\ud800"),
        (3.5, "3.5"),
    ],
)
def test_what_acts_is_spelled_out_and_the_rest_stays(text, shown):
    assert harmless(text) == shown


@given(st.text())
def test_nothing_that_acts_is_left_and_it_can_be_printed(text):
    shown = harmless(text)
    kinds = {unicodedata.category(c) for c in shown if c not in "\u200c\u200d"}
    assert not kinds & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    shown.encode("utf-8")


def test_long_text_is_cut_where_asked():
    assert harmless("x" * 500, limit=10) == "x" * 9 + "…"
