import json
import xml.etree.ElementTree as ET


def test_the_model_is_shown_saved_and_used_again(run, trace_file, tmp_path):
    saved = tmp_path / "a model.of-any-name"
    code, out, err = run("fit", trace_file, "-o", saved)
    assert code == 0
    assert "Link up (server to internet)" in out
    assert err == f"model saved as {saved}\n"
    code, again, _ = run("fit", saved)  # a link is told by its content
    assert (code, again) == (0, out)


def test_the_saved_model_forecasts_what_the_traces_do(run, trace_file, tmp_path):
    saved = tmp_path / "link.json"
    run("fit", trace_file, "-o", saved)
    ask = ["--size", "4 MB", "--flow", "out", "--json"]
    assert run("transfer", saved, *ask) == run("transfer", trace_file, *ask)


def test_json_has_both_directions_and_is_the_same_each_time(run, trace_file):
    first = run("fit", trace_file, "--json", "--seed", 3)
    assert first == run("fit", trace_file, "--json", "--seed", 3)
    record = json.loads(first[1])
    assert record["schema"] == "linkfit/fit/1"
    assert record["up"]["p50_bps"] < record["down"]["p50_bps"]


def test_figures_are_written_where_asked(run, trace_file, tmp_path):
    folder = tmp_path / "figures" / "of the link"
    code, _, err = run("fit", trace_file, "--figures", folder)
    assert code == 0
    assert err == f"8 figures of the link in {folder}\n"
    for path in folder.iterdir():
        ET.parse(path)


def test_a_trace_without_any_rate_cannot_be_fitted(run, tmp_path):
    path = tmp_path / "ping.csv"
    path.write_text("time,rtt_ms\n" + "\n".join(f"2026-06-15T08:00:{i:02d}Z,50" for i in range(30)))
    code, out, err = run("fit", path)
    assert (code, out) == (3, "")
    assert "expected at least one throughput sample" in err


def test_a_file_that_is_there_is_left_alone(run, trace_file, tmp_path):
    saved = tmp_path / "link.json"
    saved.write_text("somebody's work")
    code, out, err = run("fit", trace_file, "-o", saved)
    assert (code, out) == (2, "")
    assert "--output: expected a file that does not exist yet" in err
    assert "say --replace" in err
    assert saved.read_text() == "somebody's work"
    code, _, _ = run("fit", trace_file, "-o", saved, "--replace")
    assert code == 0
    assert json.loads(saved.read_text())["schema"] == "linkfit/link/1"


def test_a_model_that_cannot_be_saved_is_not_shown(run, trace_file, tmp_path):
    code, out, err = run("fit", trace_file, "-o", tmp_path / "no folder" / "link.json")
    assert (code, out) == (2, "")
    assert "expected a folder to write to" in err


def test_the_model_leaves_no_half_written_file(run, trace_file, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    run("fit", trace_file, "-o", folder / "link.json")
    assert [path.name for path in folder.iterdir()] == ["link.json"]
