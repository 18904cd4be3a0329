import json


def test_what_was_read_is_shown(run, trace_file):
    code, out, err = run("inspect", trace_file)
    assert (code, err) == (0, "")
    assert "1 source read: 1 x table" in out
    assert "rate up (server to internet)" in " ".join(out.split())


def test_a_folder_and_standard_input_say_the_same(run, trace_file):
    folder = run("inspect", trace_file.parent, "--json")
    piped = run("inspect", "-", "--json", stdin=trace_file.read_bytes())
    assert folder[0] == piped[0] == 0
    first, second = json.loads(folder[1]), json.loads(piped[1])
    assert first["schema"] == "linkfit/inspect/1"
    assert first["throughput"] == second["throughput"]
    assert second["sources"][0]["name"] == "standard input"


def test_columns_and_units_that_a_file_does_not_say(run, tmp_path):
    path = tmp_path / "odd.csv"
    path.write_text("when;speed\n" + "\n".join(f"{i};{i % 7 + 1}" for i in range(40)) + "\n")
    code, out, err = run(
        "inspect", path, "--columns", "when=start", "--columns", "speed=rate", "--units",
        "speed=Mbit/s", "--units", "when=s", "--direction", "up", "--json",
    )  # fmt: skip
    assert code == 0, err
    assert json.loads(out)["throughput"][0]["rate_bps"]["p50"] == 4e6


def test_what_is_no_measurement_is_refused_with_nothing_on_stdout(run, tmp_path):
    path = tmp_path / "note.txt"
    path.write_text("nothing was measured\n")
    code, out, err = run("inspect", path)
    assert (code, out) == (2, "")
    assert err.startswith("error: ")
    assert "note.txt" in err


def test_a_file_name_cannot_act_on_the_terminal(run, trace_file):
    bad = trace_file.with_name("a\x1b]0;owned\x07[red].csv")
    bad.write_bytes(trace_file.read_bytes() + trace_file.read_bytes().splitlines()[-1] + b"\n")
    for columns in (80, 40):
        code, out, err = run("inspect", bad, columns=columns)
        assert code == 0
        assert not {"\x1b", "\x07"} & set(out + err)
    assert "\\x1b]0;owned\\x07[red].csv" in "".join(out.split())


def test_a_missing_file_is_bad_input(run, tmp_path):
    code, out, err = run("inspect", tmp_path / "missing.csv")
    assert (code, out) == (2, "")
    assert "missing.csv" in err


def test_rows_that_do_not_say_their_length_or_effort(run, tmp_path):
    path = tmp_path / "rates.csv"
    path.write_text("rate_up_bps\n1000000\n2000000\n3000000\n")
    code, out, err = run("inspect", path, "--row-length", "5 s", "--not-saturating", "--json")
    assert code == 0, err
    assert json.loads(out)["throughput"][0]["measured_s"] == 15
    text = " ".join(run("inspect", path, "--row-length", "5 s", "--not-saturating")[1].split())
    assert "3 of 3 samples did not try for all they could get" in text
    code, out, err = run("inspect", path, "--row-length", "5 apples")
    assert (code, out) == (2, "")
    assert "--row-length: expected a number and ms, s, min, h or d, got '5 apples'" in err


def test_what_a_file_does_not_say_is_asked_for_with_the_option(run, tmp_path):
    path = tmp_path / "rates.csv"
    path.write_text("time_s,rate_bps\n1,1000000\n2,2000000\n3,3000000\n")
    code, out, err = run("inspect", path)
    assert (code, out) == (2, "")
    assert "say --direction up (from the server" in err
    assert "direction=" not in err


def test_an_access_log_whose_duration_is_named(run, tmp_path):
    log = tmp_path / "access.log"
    log.write_text(
        "".join(
            f'203.0.113.9 - - [15/Jun/2026:08:{minute:02d}:00 +0000] "GET /a.jpg HTTP/1.1" 200 '
            f"3500000 {4000 + minute}\n"
            for minute in range(20)
        )
    )
    code, out, err = run("inspect", log, "--duration-field", "last=ms")
    assert code == 0, err
    assert "20" in out
    code, _, err = run("inspect", log)
    assert code == 2
    assert "which field of the access log is the duration" in err
    code, out, err = run("transfer", log, "--columns", "last=duration", "--units", "last=ms",
                         "--size", "3.5 MB", "--flow", "out")  # fmt: skip
    assert code == 0, err
