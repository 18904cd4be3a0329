"""Values in messages are short and harmless; strings for TOML read back as they were."""

import tomllib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.site.shown import as_toml, did_you_mean, shown, shown_key, toml_string


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"), (8.5, "8.5"), (0.1, "0.1"), (123456789, "123456789"), ("a", "'a'"),
        (10**30, "a number of 31 digits"), (-(10**400), "a number of 401 digits"),
        (date(2026, 7, 31), "2026-07-31"), ({"a": 1}, "a table"), ([1], "a list"),
        ("\x1b[31m", r"'\x1b[31m'"), ("\u202ex", r"'\u202ex'"), (float("nan"), "nan"),
    ],
)  # fmt: skip
def test_shown(value, text):
    assert shown(value) == text


def test_long_texts_are_cut():
    assert len(shown("x" * 10_000)) < 70


@given(st.text())
def test_places_are_printable(text):
    assert shown_key(text).isprintable()


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_toml_strings_read_back_and_are_printable(text):
    assert toml_string(text).isprintable()
    assert tomllib.loads(f"x = {toml_string(text)}")["x"] == text


def test_as_toml_reads_back():
    value = {"a": ["x", 1.5, True], "b": {"c": date(2026, 7, 31)}}
    assert tomllib.loads(f"x = {as_toml(value)}")["x"] == value


def test_did_you_mean_the_nearest_whatever_its_case():
    assert did_you_mean("Userz", ["users", "task"]) == "; did you mean 'users'?"
    assert did_you_mean("xyzzy", ["users", "task"]) == ""
