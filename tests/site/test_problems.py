"""Problems keep their place, come in file order, and each comes once."""

import pytest
from pydantic import Field

from linkfit.errors import ConfigError
from linkfit.site.entry import Entry
from linkfit.site.problems import Problems, place_text


class Inner(Entry):
    size: int = Field(description="how large", examples=[3])


class Outer(Entry):
    name: str
    inner: Inner | None = None


def test_places_count_from_one_and_escape_what_does_not_print():
    assert place_text(("service", 1, "task", 0, "size")) == "service 2: task 1: size"
    assert place_text(("\x1b[0m",)) == r"'\x1b[0m'"


def test_file_order_whatever_the_order_of_finding():
    problems = Problems("f", {"b": 0, "a": 1})
    problems.add(("a",), "expected 1")
    problems.add(("b", 1), "expected 2")
    problems.add(("b", 0), "expected 3")
    problems.add(("b", 0), "expected 3")
    assert problems.found == ("b 1: expected 3", "b 2: expected 2", "a: expected 1")
    with pytest.raises(ConfigError, match=r"(?s)f: b 1: expected 3\nf: b 2: .*f: a: expected 1"):
        problems.raise_any()


def test_no_problem_raises_nothing():
    Problems("f").raise_any()


def test_the_sound_keys_are_kept_and_the_others_named():
    problems = Problems("f")
    kept = problems.validated(Outer, {"name": "x", "inner": {"sice": 2}}, ("t",))
    assert kept == Outer(name="x")
    assert problems.left_out(("t",), "inner")
    assert not problems.left_out(("t",), "name")
    assert problems.found == (
        "t: inner: size: expected a value, got nothing; add size = 3",
        "t: inner: sice: expected one of the keys size, got 'sice'; did you mean 'size'?",
    )


def test_without_a_needed_key_nothing_is_kept():
    problems = Problems("f")
    assert problems.validated(Outer, {"name": 3}, ("t",)) is None
    assert problems.validated(Outer, 5, ("u",)) is None
    assert problems.found == (
        "t: name: expected a text, got 3",
        "u: expected a table, got 5",
    )
