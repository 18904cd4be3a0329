import json

import pytest


def test_the_screen_answers_and_the_record_agrees(run, quick):
    code, out, _ = run("streams", *quick, "--cap", "60 GB")
    assert code == 0
    assert out.startswith("Streams that the server sends (link up)\n")
    record = json.loads(run("streams", *quick, "--cap", "60 GB", "--json")[1])
    assert (record["schema"], record["cap_bytes"]) == ("linkfit/streams/1", 60e9)
    for one in record["films"]["streams"]:
        assert one["verdict"] in out


def test_the_same_seed_gives_the_same_bytes(run, quick):
    first, again, other = (run("streams", *quick, "--json", "--seed", s) for s in (5, 5, 6))
    assert first == again
    assert first != other


def test_options_change_what_they_name(run, quick):
    ask = ["--session", "10 min", "--look", "2 min", "--chance", "0.8", "--json"]
    code, out, _ = run("streams", *quick, *ask)
    record = json.loads(out)
    assert code == 0
    assert (record["films"]["session_s"], record["cameras"]["session_s"]) == (600.0, 120.0)
    assert record["wanted_prob"] == 0.8


def test_a_site_brings_its_plan(run, trace_file, site_file):
    code, out, _ = run("streams", trace_file, "--site", site_file, "--json")
    record = json.loads(out)
    assert code == 0
    assert record["cap_bytes"] == 60e9
    feed = record["cameras"]["streams"][0]
    assert feed["month"]["p50_s"] < feed["month_alone"]["p50_s"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--cap", "60"], "--cap: expected a number and B"),
        (["--session", "long"], "--session: expected a number and ms"),
        (["--look", "0 s"], "session_s: expected a finite number > 0, got 0"),
        (["--chance", "2"], "--chance"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, out, err = run("streams", *quick, *arguments)
    assert (code, out) == (2, "")
    assert said in err
