import json

import pytest

KEYS = {"schema", "seed", "direction", "p05_s", "p50_s", "p95_s", "p95_low_s", "p95_high_s"}


def test_both_directions_are_said_on_screen(run, quick):
    code, out, _ = run("transfer", *quick, "--size", "4MB", "--flow", "out")
    assert code == 0
    assert "4.00 MB out (the server sends: link up)" in out
    _, out, _ = run("transfer", *quick, "--size", "4MB", "--flow", "in")
    assert "4.00 MB in (the server receives: link down)" in out


def test_json_has_its_keys_and_the_faster_direction_is_faster(run, quick):
    records = {}
    for flow in ("out", "in"):
        code, out, _ = run("transfer", *quick, "--size", "4 MB", "--flow", flow, "--json")
        assert code == 0
        records[flow] = json.loads(out)
        assert set(records[flow]) >= KEYS
    assert (records["out"]["direction"], records["in"]["direction"]) == ("up", "down")
    assert records["in"]["p50_s"] < records["out"]["p50_s"]


def test_the_same_seed_gives_the_same_bytes(run, quick):
    ask = ["transfer", *quick, "--size", "4 MB", "--flow", "out", "--json"]
    assert run(*ask, "--seed", 5) == run(*ask, "--seed", 5)
    assert run(*ask, "--seed", 5) != run(*ask, "--seed", 6)


def test_tls_and_a_relay_cost_round_trips(run, quick):
    def p50_s(*more):
        _, out, _ = run("transfer", *quick, "--size", "20 kB", "--flow", "out", "--json", *more)
        return json.loads(out)["p50_s"]

    bare = p50_s("--no-tls")
    assert p50_s("--tls") - bare == pytest.approx(0.055, abs=0.005)  # one more round trip
    assert p50_s("--no-tls", "--relay-rtt", "100 ms") - bare >= 0.2  # two round trips at least


def test_the_link_can_come_through_standard_input(run, trace_file):
    ask = ["--size", "4 MB", "--flow", "out", "--json"]
    assert run("transfer", "-", *ask, stdin=trace_file.read_bytes())[0] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--size", "4 MB", "--flow", "up"], "flow: expected 'out' or 'in', got 'up'"),
        (["--size", "4 Mbit", "--flow", "out"], "--size: expected a number and B"),
        (["--size", "4 MB", "--flow", "out", "--relay-rtt", "5"], "--relay-rtt: expected"),
        (["--size", "0 MB", "--flow", "out"], "size_bytes: expected a finite number > 0"),
        (["--size", "4 MB"], "--flow"),
        (["--size", "4 MB", "--flow", "out", "--seed", "-1"], "--seed"),
    ],
)
def test_bad_options_are_named_with_their_value(run, quick, arguments, said):
    code, out, err = run("transfer", *quick, *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_a_direction_that_was_never_measured_cannot_be_forecast(run):
    code, out, err = run("transfer", "--up", "6 Mbit/s", "--size", "4 MB", "--flow", "in")
    assert (code, out) == (3, "")
    assert "down: expected at least one measurement" in err
