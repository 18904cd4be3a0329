"""``linkfit plan-tests`` on a small trace and on nothing."""

import json

from linkfit.link.enough_tests import WIDTH_FRAC


def record(run, *arguments):
    code, out, err = run("plan-tests", *arguments, "--json")
    assert code == 0, err
    return json.loads(out)


def test_from_what_was_measured(run, trace_file):
    found = record(run, trace_file, "--timezone", "Europe/Lisbon")
    up, down = found["directions"]
    assert (up["direction"], up["now"]["n_cells"]) == ("up", 1)
    assert down["now"]["n_cells"] == 1
    assert not found["reached"]
    assert [part["days_measured"] for part in found["parts"]] == [0, 1, 0, 0]


def test_from_nothing_with_a_rate_that_is_supposed(run):
    found = record(run, "--up", "10 Mbit/s", "--way", "up", "--width", "30 %", "--cap", "60 GB")
    assert found["width_frac"] == 0.3
    assert found["cost"]["p50_bytes"] > 50e6
    code, text, _ = run("plan-tests", "--up", "10 Mbit/s", "--way", "up", columns=40)
    assert code == 0
    assert "What it costs" in text


def test_from_nothing_at_all(run):
    code, _, err = run("plan-tests")
    assert code == 2
    assert "--up '6 Mbit/s'" in err


def test_a_fitted_link_no_longer_knows_its_tests(run, tmp_path):
    file = tmp_path / "link.json"
    file.write_text('{"schema": "linkfit/link/1"}')
    code, _, err = run("plan-tests", file)
    assert code == 2
    assert "name the files it was fitted to" in err


def test_fit_and_the_plan_name_the_same_number_of_tests(run, trace_file):
    """A person who follows the one must not be told another number by the other."""
    plan = record(run, trace_file)
    _, text, _ = run("fit", trace_file, columns=200)
    for one, name in zip(plan["directions"], ("upload", "download"), strict=True):
        wanted = f"{one['tests_more']} more tests of {plan['seconds']} s"
        (line,) = [line for line in text.splitlines() if line.startswith(f"- {name} rests on")]
        assert wanted in line
        assert one["tests_more"] == plan["tests_per_cell"] * one["cells_more"]["p50"] > 0


def test_the_width_that_nobody_asked_for_is_the_one_that_fit_names(run, trace_file):
    assert record(run, trace_file)["width_frac"] == WIDTH_FRAC
