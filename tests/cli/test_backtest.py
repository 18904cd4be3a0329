import json
import xml.etree.ElementTree as ET

import numpy as np
import pytest


@pytest.fixture
def transfer_file(tmp_path):
    """Sixty uploads of two sizes."""
    rng = np.random.default_rng(12)
    lines = ["time,direction,size_bytes,duration_s"]
    for i in range(60):
        size = 5e5 if i % 2 else 2e6
        took = 0.3 + size * 8 / (6e6 * np.exp(0.3 * rng.standard_normal()))
        lines.append(f"2026-06-15T08:{i:02d}:00Z,up,{size:.0f},{took:.3f}")
    path = tmp_path / "uploads.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


FEW = ["--transfers", 40]


def test_a_backtest_says_how_often_intervals_held(run, trace_file):
    code, out, err = run("backtest", trace_file, "--size", "500 kB", *FEW)
    assert (code, err) == (0, "")
    assert "90 % intervals held" in out
    assert "500 kB" in out
    assert "/ size over mean rate" in out


def test_json_has_one_entry_a_size_and_is_the_same_each_time(run, trace_file):
    ask = ["--size", "500 kB", "--size", "2 MB", "--json", "--seed", 3, *FEW]
    first = run("backtest", trace_file, *ask)
    assert first == run("backtest", trace_file, *ask)
    record = json.loads(first[1])
    assert record["schema"] == "linkfit/backtest/1"
    assert [entry["size_bytes"] for entry in record["sizes"]] == [5e5, 2e6]
    assert [entry["n_transfers"] for entry in record["sizes"]] == [80, 80]  # both directions
    assert not record["real_transfers"]


def test_real_transfers_are_predicted_by_their_own_sizes(run, transfer_file):
    code, out, _ = run("backtest", transfer_file, "--json")
    record = json.loads(out)
    assert code == 0
    assert record["real_transfers"]
    assert [entry["size_bytes"] for entry in record["sizes"]] == [5e5, 2e6]
    assert sum(entry["n_transfers"] for entry in record["sizes"]) == 24


def test_figures_are_written_where_asked(run, trace_file, tmp_path):
    folder = tmp_path / "figures of it"
    code, _, err = run("backtest", trace_file, "--size", "500 kB", "--figures", folder, *FEW)
    assert code == 0
    assert err == f"3 figures of the backtest in {folder}\n"
    assert len(list(folder.iterdir())) == 3
    for path in folder.iterdir():
        ET.parse(path)


def test_too_short_a_trace_cannot_be_scored(run, tmp_path):
    path = tmp_path / "short.csv"
    rows = [f"2026-06-15T08:00:{i:02d}Z,up,1,5000000" for i in range(25)]
    path.write_text("time,direction,duration_s,rate_bps\n" + "\n".join(rows) + "\n")
    code, out, err = run("backtest", path)
    assert (code, out) == (3, "")
    assert "expected 20 measured seconds before and after the cut" in err


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("--size", "5 apples", "--size"), ("--train-frac", "1.5", "train_frac"),
     ("--size", "0 MB", "size")],
)  # fmt: skip
def test_a_bad_option_is_named(run, trace_file, option, value, said):
    code, out, err = run("backtest", trace_file, option, value)
    assert (code, out) == (2, "")
    assert said in err
