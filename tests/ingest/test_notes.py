import pytest

from linkfit.errors import TraceError
from linkfit.ingest.notes import MAX_SHOWN, Notes, grouped, refuse


def test_counts_of_one_kind_add_up_and_show_in_the_text():
    notes = Notes("ridge.csv")
    notes.repair("cut", 1000, "{n} rows cut")
    notes.repair("cut", 234, "{n} rows cut")
    notes.find("nothing", 0, "never shown")
    (repair,) = notes.repairs
    assert (repair.source, repair.n_samples, repair.text) == ("ridge.csv", 1234, "1,234 rows cut")
    assert notes.findings == ()


def test_all_problems_are_raised_at_once_and_a_flood_is_cut():
    notes = Notes("ridge.csv")
    notes.refuse_problems()
    for i in range(MAX_SHOWN + 5):
        notes.problem(f"row {i}")
    with pytest.raises(TraceError, match=r"(?s)row 0\n.*row 19\n… and 5 more$"):
        notes.refuse_problems()


def test_no_problem_is_no_error():
    refuse([])


def test_what_many_files_have_in_common_is_said_once():
    problems = [(f"{n}.csv", f"{n}.csv: no unit\n{n}.csv: no direction") for n in "abc"]
    assert grouped([*problems, ("d.csv", "d.csv: empty"), ("e.csv", "d.csv: empty"),
                    ("f.csv", "other words")]) == [
        "a.csv: no unit (and 2 more files alike)",
        "a.csv: no direction (and 2 more files alike)",
        "d.csv: empty",
        "d.csv: empty",
        "other words",
    ]  # fmt: skip
    assert grouped([("a", "a: bad"), ("b", "b: bad")]) == ["a: bad (and 1 more file alike)"]


@pytest.mark.parametrize(
    ("text", "one", "two"),
    [
        ("{n} rows lie behind", "1 row lies behind", "2 rows lie behind"),
        ("goes back {n} times, by", "goes back once, by", "goes back 2 times, by"),
        ("{n} round trips are 0", "1 round trip is 0", "2 round trips are 0"),
        ("{n} cells in column 'a b' are true", "1 cell in column 'a b' is true",
         "2 cells in column 'a b' are true"),
        ("{n} gaps, 3 h in all", "1 gap, 3 h in all", "2 gaps, 3 h in all"),
        ("{n} left out: none", "1 left out: none", "2 left out: none"),
    ],
)  # fmt: skip
def test_one_is_said_as_one(text, one, two):
    notes = Notes("ridge.csv")
    notes.repair("first", 1, text)
    notes.repair("second", 2, text)
    assert [repair.text for repair in notes.repairs] == [one, two]
