import json

import pytest

ASK = ["--size", "2 GB", "--flow", "out"]


def test_the_screen_says_flow_direction_and_all_answers(run, quick):
    code, out, _ = run("uploads", *quick, *ASK, "--items", "3", "--drops-per-day", "8")
    assert code == 0
    assert out.startswith("3 items of 2.00 GB out (the server sends: link up)")
    for part in ("In which pieces", "How many at once", "Timeouts", "Assumed"):
        assert part in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_narrow_screens_lose_nothing(run, quick):
    code, out, _ = run("uploads", *quick, *ASK, "--items", "2", columns=40)
    assert code == 0
    assert max(len(line) for line in out.splitlines()) <= 40
    assert "passes first: " in out


def test_json_repeats_with_its_seed(run, quick):
    ask = ["uploads", *quick, "--size", "20 MB", "--items", "2", "--json"]
    first, again, other = (run(*ask, "--seed", seed)[1] for seed in (5, 5, 6))
    assert first == again != other
    assert json.loads(first)["schema"] == "linkfit/uploads/1"


def test_options_reach_the_forecast(run, quick):
    options = [
        "--body-limit", "100 MB", "--idle-timeout", "90 s", "--total-timeout", "5 min",
        "--drops-per-day", "4", "--remote-rate", "2 Mbit/s", "--per-item", "0.5 s",
        "--chunk", "5 MB", "--per-connection", "1 Mbit/s",
    ]  # fmt: skip
    code, out, _ = run("uploads", *quick, "--size", "200 MB", "--items", "2", *options, "--json")
    assert code == 0
    record = json.loads(out)
    assert record["path"]["body_limit_bytes"] == 1e8
    assert record["path"]["idle_timeout_s"] == 90.0
    assert record["path"]["total_timeout_s"] == 300.0
    assert record["remote_rate_bps"] == 2e6
    assert record["sent_in_requests_of_bytes"] == 5e6
    assert record["rate"]["p95_bps"] <= 2e6
    assert record["best_at_once"]["n"] == 2
    assert record["one_item_whole"]["refused"]


def test_a_site_brings_the_limits_of_its_path(run, quick, tmp_path):
    site = tmp_path / "site.toml"
    site.write_text(
        '[site]\nname = "Kestrel Ridge dig"\n[path]\nentry = "relay"\nbody_limit = "50 MB"\n'
        'idle_timeout = "100 s"\nrelay_rtt = "18 ms"\n[hours]\nup = ["06:30-22:00"]\n'
    )
    ask = ["uploads", *quick, "--size", "80 MB", "--items", "1", "--site", site, "--json"]
    received = json.loads(run(*ask, "--flow", "in", "--drops-per-day", "2")[1])
    assert received["path"]["body_limit_bytes"] == 5e7
    assert received["path"]["drops_per_day"] == 3.0
    assert received["one_item_whole"]["refused"]
    assert not json.loads(run(*ask, "--flow", "out")[1])["one_item_whole"]["refused"]
    wide = json.loads(run(*ask, "--flow", "in", "--body-limit", "100 MB")[1])
    assert not wide["one_item_whole"]["refused"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--size", "2 Gbit"], "--size: expected a number and B"),
        (["--size", "2 GB", "--flow", "up"], "flow: expected 'out' or 'in', got 'up'"),
        (["--size", "2 GB", "--total-timeout", "5"], "--total-timeout: expected"),
        (["--size", "2 GB", "--chunk", "big"], "--chunk: expected a number and B"),
        (["--size", "0 GB"], "size: expected a finite number > 0"),
        (["--size", "2 GB", "--drops-per-day", "-1"], "--drops-per-day"),
        ([], "--size"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, out, err = run("uploads", *quick, *arguments)
    assert (code, out) == (2, "")
    assert said in err
