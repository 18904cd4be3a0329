import json

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture
def ask(site_file, steady_file):
    return ["backlog", site_file, steady_file, "--start", "2026-06-29"]


def test_json_says_when_what_binds_and_the_chance_as_the_advice_does(run, ask):
    """One seed, one figure: advise and backlog read the same futures; used data is gone."""
    code, out, _ = run(*ask, "--json")
    record = json.loads(out)
    assert (code, record["schema"]) == (0, "linkfit/backlog/1")
    [backlog] = record["backlogs"]
    assert backlog["name"] == "season photos"
    assert backlog["p05_days"] <= backlog["p50_days"] <= backlog["p95_days"]
    assert backlog["binding"]
    low, high = backlog["prob_by_deadline_low"], backlog["prob_by_deadline_high"]
    assert 0 <= low <= backlog["prob_by_deadline"] <= high <= 1
    [advised] = json.loads(run("advise", *ask[1:], "--json")[1])["backlogs"]
    same = ["p05_days", "p50_days", "p95_days", "binding", "prob_by_deadline", "p50_date"]
    assert {key: backlog[key] for key in same} == {key: advised[key] for key in same}
    code, out, _ = run(*ask, "--used", "60 GB", "--json")
    assert code == 0
    [spent] = json.loads(out)["backlogs"]
    assert spent["p50_days"] > backlog["p50_days"]


def test_it_reads_well_and_the_same_each_time(run, ask):
    first = run(*ask, "--name", "season photos")
    assert first[0] == 0
    assert "held back by" in first[1]
    assert run(*ask, "--name", "season photos") == first


def test_an_unknown_name_is_bad_input(run, site_file, quick):
    code, out, err = run("backlog", site_file, *quick, "--name", "other")
    assert (code, out) == (2, "")
    assert "'season photos'" in err


def test_without_a_site_file(run, quick):
    items = ["--items", "5000", "--size", "3.5 MB", "--flow", "out"]
    code, out, _ = run("backlog", *quick, *items, "--start", "2026-06-29", "--json")
    [backlog] = json.loads(out)["backlogs"]
    assert code == 0
    assert backlog["p50_date"] >= "2026-06-29"
    assert backlog["p05_days"] <= backlog["p50_low_days"] <= backlog["p50_high_days"]
    easings = {one["what"]: one for one in backlog["sooner"]}
    assert easings["1 Mbit/s more up"]["p50_days"] > 0
    assert easings["per-item cost halved"]["p50_days"] > 0
    assert (backlog["nights"], backlog["waiting"]) == (None, None)


def test_tonight_and_the_nights_after(run, steady_file):
    """Questions 2, 18 and 23: the day, the wait for the night, the window."""
    backup = ["--items", "1", "--size", "18 GB", "--flow", "out", "--start", "2026-06-29"]
    code, out, _ = run("backlog", steady_file, *backup, "--within", "6 h", "--at", "23:00")
    assert code == 0
    assert "Chance that it is done within the first 6.0 h" in out
    assert "Counted from 2026-06-29, 23:00, local time." in out
    code, out, _ = run("backlog", steady_file, *backup, "--wait-for", "23:00-05:00", "--at",
                       "14:00", columns=200)  # fmt: skip
    assert code == 0
    assert "no gain found: no daily pattern was measured on this link" in out
    assert "waiting ends it later by" in out


def test_a_backlog_that_grows_for_ever_says_so(run, ask, site_file):
    text = site_file.read_text().replace("items = 400", "items = 400\narrivals_per_day = 40000")
    site_file.write_text(text)
    code, out, _ = run(*ask, columns=200)
    assert code == 0
    assert "season photos: never finishes" in out
    assert "new items bring" in out
