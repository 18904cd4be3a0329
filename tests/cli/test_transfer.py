import json

import numpy as np
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
        (["--size", "0 MB", "--flow", "out"], "--size: expected a finite number > 0, got 0"),
        (["--size", "4 MB"], "--flow"),
        (["--size", "4000 TB", "--flow", "out"], "--size: expected a payload that this link moves"),
        (["--size", "4 MB", "--flow", "out", "--requests", "0"], "--requests"),
        (["--size", "4 MB", "--flow", "out", "--loss", "1"], "--loss: expected a share below 100"),
        (["--size", "4 MB", "--flow", "out", "--loss", "100 %"], "--loss: expected a share below"),
        (["--size", "4 MB", "--flow", "out", "--hold", "0 s"], "--hold: expected a finite number"),
        (
            ["--size", "4 MB", "--flow", "out", "--congestion", "x"],
            "--congestion: expected 'cubic'",
        ),
        (["--size", "4 MB", "--flow", "out", "--pause", "2"], "--pause: expected a number and"),
        (["--size", "4 MB", "--flow", "out", "--answer", "2"], "--answer: expected a number and"),
        (["--size", "4 MB", "--flow", "out", "--server-time", "x"], "--server-time: expected"),
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


@pytest.fixture
def slow_minute(tmp_path):
    """A minute of the uplink at a third of its usual rate."""
    rates = np.random.default_rng(3).lognormal(np.log(2e6), 0.2, 60)
    rows = [f"2026-06-15T20:00:{i:02d}Z,up,1,{rate:.0f}" for i, rate in enumerate(rates)]
    path = tmp_path / "minute.csv"
    path.write_text("\n".join(["time,direction,duration_s,rate_bps", *rows]) + "\n")
    return path


def test_the_last_minutes_change_the_answer_and_the_heading(run, trace_file, slow_minute):
    ask = ["transfer", trace_file, "--size", "2 MB", "--flow", "out"]
    any_time, now, later = (
        json.loads(run(*ask, "--json", *more)[1])
        for more in (
            [],
            ["--recent", slow_minute],
            ["--recent", slow_minute, "--recent-age", "3 days"],
        )
    )
    assert (any_time["starts"], now["starts"]) == ("any time", "now")
    assert now["p50_s"] > 1.5 * any_time["p50_s"]
    assert any_time["p50_s"] * 0.8 < later["p50_s"] < now["p50_s"]
    code, out, _ = run(*ask, "--recent", slow_minute)
    assert code == 0
    assert out.startswith("2.00 MB out (the server sends: link up), starting now\n")


def test_last_minutes_that_do_not_name_their_direction_are_read_with_the_link_s(run, tmp_path):
    paths = []
    for name, rate in (("past", 6_000_000), ("minute", 3_000_000)):
        rows = [f"{i},{rate + i}" for i in range(60)]
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text("\n".join(["t,bits", *rows]) + "\n")
    code, out, _ = run(
        "transfer", paths[0], "--recent", paths[1], "--direction", "up", "--columns", "t=start",
        "--columns", "bits=rate", "--units", "t=s", "--units", "bits=bit/s",
        "--size", "2 MB", "--flow", "out", "--json",
    )  # fmt: skip
    assert code == 0
    assert json.loads(out)["p50_s"] == pytest.approx(2e6 * 8 * 1500 / 1448 / 3e6, rel=0.15)


def test_the_chance_to_end_in_time_and_the_sources_of_width_are_told(run, quick):
    ask = ["transfer", *quick, "--size", "4 MB", "--flow", "out"]
    chances = []
    for by in ("2 s", "6 s", "15m"):
        record = json.loads(run(*ask, "--by", by, "--json")[1])
        chances.append(record["prob_by"])
        assert sum(record["width_shares"].values()) == pytest.approx(1.0)
    assert record["by_s"] == 900.0
    assert chances == sorted(chances)
    assert chances[0] < 0.2 < chances[1] < 0.9 < chances[2]
    _, out, _ = run(*ask, "--by", "6 s")
    assert f"Chance to end within 6.0 s: {chances[1]:.0%}".replace("%", " %") in out
    assert "The spread is made of: few measurements and drift" in " ".join(out.split())
    sure = record["prob_by_low"], record["prob_by_high"]
    assert sure[0] <= chances[2] <= sure[1]
    assert "sure to be within" in out.split("Chance")[1]
    assert "prob_by" not in json.loads(run(*ask, "--json")[1])


def test_an_hour_is_heeded_where_the_link_has_a_pattern(run, tmp_path):
    lines = ["time,direction,duration_s,rate_bps"]
    rng = np.random.default_rng(5)
    for day in range(1, 7):
        for hour in range(24):
            rates = 8e6 * (0.3 if hour >= 12 else 1.0) * rng.lognormal(0.0, 0.2, 30)
            lines += [
                f"2026-06-{day:02d}T{hour:02d}:00:{i:02d}Z,up,1,{rate:.0f}"
                for i, rate in enumerate(rates)
            ]
    path = tmp_path / "week.csv"
    path.write_text("\n".join(lines) + "\n")
    ask = ["transfer", path, "--size", "2 MB", "--flow", "out"]
    morning, evening = (json.loads(run(*ask, "--at", at, "--json")[1]) for at in ("5:00", "20:00"))
    assert evening["hour"] == 20.0
    assert evening["p50_s"] > 2 * morning["p50_s"]
    assert ", starting at 5:30\n" in run(*ask, "--at", "5:30")[1]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--at", "25:00"], "--at: expected an hour from 0:00 to 24:00, got '25:00'"),
        (["--at", "noon"], "--at: expected an hour from 0:00 to 24:00, got 'noon'"),
        (["--by", "15"], "--by: expected a number and ms, s, min, h or d, got '15'"),
        (["--recent-age", "soon"], "--recent-age: expected a number and ms"),
        (["--recent", "nothing.csv"], "nothing.csv"),
    ],
)
def test_bad_starts_are_named(run, quick, arguments, said):
    code, out, err = run("transfer", *quick, "--size", "1 MB", "--flow", "out", *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_last_minutes_of_the_other_direction_are_refused(run, quick, slow_minute):
    ask = ["--size", "1 MB", "--flow", "in", "--recent", slow_minute]
    code, out, err = run("transfer", *quick, *ask)
    assert (code, out) == (2, "")
    assert "--recent: expected samples of the direction down" in err
    assert "got 60 up samples" in err


def test_standard_input_is_read_once(run, trace_file):
    ask = ["--size", "1 MB", "--flow", "out", "--recent", "-"]
    code, _, err = run("transfer", "-", *ask, stdin=trace_file.read_bytes())
    assert code == 2
    assert "--recent: expected a file, since LINK is standard input" in err
    assert run("transfer", trace_file, *ask, stdin=trace_file.read_bytes())[0] == 0


def p50_s(run, quick, *ask):
    _, out, _ = run("transfer", *quick, "--size", "20 kB", "--flow", "out", "--json", *ask)
    return json.loads(out)["p50_s"]


def test_many_requests_take_their_round_trips_and_pauses(run, quick):
    alone = p50_s(run, quick)
    page = p50_s(run, quick, "--requests", "60", "--parallel", "6")
    in_turn = p50_s(run, quick, "--requests", "60")
    assert alone < page < in_turn
    assert in_turn > 60 * 0.055
    paused = p50_s(run, quick, "--requests", "3", "--pause", "2 s")
    assert paused - p50_s(run, quick, "--requests", "3") == pytest.approx(4.0, abs=0.4)
    _, out, _ = run("transfer", *quick, "--size", "20 kB", "--flow", "out", "--requests", "60",
                    "--parallel", "6")  # fmt: skip
    assert out.startswith("60 requests of 20.0 kB, 6 at once, out (the server sends: link up)\n")


def test_the_far_end_s_time_and_answer_are_counted_once_a_request(run, quick):
    extra_s = p50_s(run, quick, "--server-time", "200 ms", "--answer", "2 kB") - p50_s(run, quick)
    assert 0.2 < extra_s < 0.21
    _, out, _ = run("transfer", *quick, "--size", "20 kB", "--flow", "out", "--json", "--quic",
                    "--server-time", "200 ms")  # fmt: skip
    record = json.loads(out)
    assert (record["transport"], record["server_time_s"], record["n_requests"]) == ("quic", 0.2, 1)


def test_quic_saves_a_round_trip(run, quick):
    assert p50_s(run, quick) - p50_s(run, quick, "--quic") == pytest.approx(0.055, abs=0.01)


def test_loss_costs_a_window_more_than_a_rate(run, quick):
    def p50_2mb_s(*more):
        ask = ["transfer", *quick, "--size", "2 MB", "--flow", "out", "--json", *more]
        record = json.loads(run(*ask)[1])
        return record["p50_s"]

    clean = p50_2mb_s()
    assert p50_2mb_s("--loss", "1 %") > 1.3 * clean
    assert p50_2mb_s("--loss", "1 %", "--congestion", "bbr") < 1.2 * clean


def test_what_the_modem_throws_away_in_an_outage_is_sent_again(run, tmp_path):
    rates = [4_000_000 if i % 60 >= 20 else 0 for i in range(600)]
    rows = [f"{i},{rate}" for i, rate in enumerate(rates)]
    path = tmp_path / "gaps.csv"
    path.write_text("\n".join(["t,bits", *rows]) + "\n")
    ask = ["transfer", path, "--direction", "up", "--columns", "t=start", "--columns", "bits=rate",
           "--units", "t=s", "--units", "bits=bit/s", "--rtt", "50 ms", "--size", "100 kB",
           "--flow", "out", "--json"]  # fmt: skip
    kept, tcp, quic = (
        json.loads(run(*ask, *more)[1])["p95_s"]
        for more in ([], ["--hold", "1 s"], ["--hold", "1 s", "--quic"])
    )
    # backed-off timers wake up seconds after the outage
    assert tcp > kept + 1.0
    assert quic > kept + 1.0


def test_a_connection_that_stands_needs_no_handshake(run, quick):
    saved_s = p50_s(run, quick) - p50_s(run, quick, "--handshake", "0")
    assert saved_s == pytest.approx(2 * 0.055, abs=0.01)
    assert p50_s(run, quick, "--handshake", "2") == p50_s(run, quick)
    assert p50_s(run, quick, "--handshake", "1", "--no-tls") == p50_s(run, quick, "--no-tls")


def test_a_round_trip_that_was_not_measured_is_assumed_and_said(run):
    ask = ["transfer", "--up", "6 Mbit/s", "--size", "20 kB", "--flow", "out"]
    record = json.loads(run(*ask, "--json")[1])
    assert record["median_parts_s"]["round trips (assumed)"] > 0.1
    assert any("No round trip of this link was measured" in text for text in record["cautions"])
    assert "No round trip of this link was measured" in " ".join(run(*ask)[1].split())
    known = json.loads(run(*ask, "--rtt", "55 ms", "--json")[1])
    assert "round trips" in known["median_parts_s"]
    assert known["cautions"] == []


@pytest.mark.parametrize("option", ["--up", "--down", "--rtt"])
def test_a_quick_number_of_nothing_is_named_by_its_option(run, option):
    unit = "s" if option == "--rtt" else "Mbit/s"
    numbers = {"--up": "6 Mbit/s", option: f"0 {unit}"}
    given = [word for pair in numbers.items() for word in pair]
    code, out, err = run("transfer", *given, "--size", "1 MB", "--flow", "out")
    assert (code, out) == (2, "")
    assert f"{option}: expected a finite number > 0, got 0" in err


def test_an_hour_without_measurements_gets_a_note(run, trace_file, quick):
    ask = ["--size", "1 MB", "--flow", "out", "--at", "3:00", "--json"]
    cautions = json.loads(run("transfer", trace_file, *ask)[1])["cautions"]
    assert any("Nothing was measured from 3:00 to 4:00 (UTC)" in text for text in cautions)
    cautions = json.loads(run("transfer", *quick, *ask)[1])["cautions"]
    assert any("No time of day is known" in text for text in cautions)
