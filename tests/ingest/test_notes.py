import pytest

from linkfit.errors import TraceError
from linkfit.ingest.notes import MAX_SHOWN, Notes, refuse


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
