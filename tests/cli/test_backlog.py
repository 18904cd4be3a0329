import json

import pytest

pytestmark = pytest.mark.slow


def test_json_says_when_what_binds_and_the_chance(run, site_file, quick):
    code, out, _ = run("backlog", site_file, *quick, "--start", "2026-06-29", "--json")
    record = json.loads(out)
    assert (code, record["schema"]) == (0, "linkfit/backlog/1")
    [backlog] = record["backlogs"]
    assert backlog["name"] == "season photos"
    assert backlog["p05_days"] <= backlog["p50_days"] <= backlog["p95_days"]
    assert backlog["binding"]
    assert 0 <= backlog["prob_by_deadline"] <= 1


def test_it_reads_well_and_the_same_each_time(run, site_file, quick):
    ask = ["backlog", site_file, *quick, "--name", "season photos", "--start", "2026-06-29"]
    first = run(*ask)
    assert first[0] == 0
    assert "held back by" in first[1]
    assert run(*ask) == first


def test_an_unknown_name_is_bad_input(run, site_file, quick):
    code, out, err = run("backlog", site_file, *quick, "--name", "other")
    assert (code, out) == (2, "")
    assert "'season photos'" in err
