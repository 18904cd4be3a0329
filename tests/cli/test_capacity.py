import json

import pytest


def test_both_directions_are_told_with_units(run, trace_file):
    code, out, _ = run("capacity", trace_file, "--below", "5 Mbit/s", "--at", "20:00")
    assert code == 0
    for part in ("Link up (server to internet)", "Link down (internet to server)", "Mbit/s",
                 "below 5.00 Mbit/s", "At 20:00 (UTC)", "no slowest hour", "Outages"):  # fmt: skip
        assert part in out, part


def test_json_from_now_on(run, trace_file):
    code, out, _ = run("capacity", trace_file, "--recent", trace_file, "--json", "--seed", 3)
    assert code == 0
    record = json.loads(out)
    assert record["schema"] == "linkfit/capacity/1"
    assert record["seed"] == 3
    for way, rate in (("up", 6e6), ("down", 24e6)):
        usual, now = record[way]["moments"]
        assert (usual["when"], now["when"]) == ("any time", "now")
        assert usual["averages"][2]["p50_bps"] == pytest.approx(rate, rel=0.3)


def test_quick_numbers_are_a_link(run, quick):
    code, out, _ = run("capacity", *quick)
    assert code == 0
    assert "measured for 10 s in 1 run" in out


def test_the_same_seed_gives_the_same_bytes(run, quick):
    assert run("capacity", *quick, "--json") == run("capacity", *quick, "--json")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--below", "5 MB"], "--below: expected a number and bit/s"),
        (["--at", "25:00"], "--at: expected an hour"),
        (["--recent-age", "5"], "--recent-age: expected"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, _, err = run("capacity", *quick, *arguments)
    assert code == 2
    assert said in err
