import json

import pytest


def test_the_screen_answers_and_the_record_agrees_and_repeats_with_its_seed(run, quick):
    code, out, _ = run("interactive", *quick, "--seed", 5)
    assert code == 0
    assert out.startswith("Interactive work, the server sending (link up)\n")
    first, again, other = (
        run("interactive", *quick, "--json", "--seed", seed) for seed in (5, 5, 6)
    )
    record = json.loads(first[1])
    assert record["schema"] == "linkfit/interactive/1"
    for one in record["activities"]:
        assert one["verdict"] in out
    assert record["limit_is_given"] is False
    assert first == again
    assert first != other


def test_options_change_what_they_name(run, quick):
    def record(*more):
        code, out, _ = run("interactive", *quick, "--json", *more)
        assert code == 0
        return json.loads(out)

    slack = record("--upload-limit", "1 Mbit/s", "--sync", "100 MB", "--echo-within", "400 ms")
    assert (slack["limit_bps"], slack["sync"]["size_bytes"]) == (1e6, 1e8)
    tight = record("--buffer", "3 MB", "--echo-within", "200 ms", "--chance", "0.9")
    assert tight["queue"]["source"] == "as stated"
    keeps = [one["limits"][0] for one in (slack, tight)]
    assert [one["good"] for one in keeps] == ["within 400 ms", "within 200 ms"]
    assert [one["wanted_prob"] for one in (slack, tight)] == [0.95, 0.9]


def test_a_site_adds_its_usual_traffic(run, trace_file, site_file):
    code, out, _ = run("interactive", trace_file, "--site", site_file)
    assert code == 0
    assert "While the site's usual traffic runs:" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--upload-limit", "2 MB/s"], "--upload-limit: expected a number and bit/s"),
        (["--echo-within", "fast"], "--echo-within: expected a number and ms"),
        (["--buffer", "big"], "--buffer: expected a number and B"),
        (["--chance", "2"], "--chance"),
        (["--sync", "0 GB"], "sync_bytes: expected a finite number > 0, got 0"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, out, err = run("interactive", *quick, *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_without_the_uplink_there_is_no_answer(run):
    code, out, err = run("interactive", "--down", "24 Mbit/s")
    assert (code, out) == (3, "")
    assert "up: expected at least one measurement" in err
