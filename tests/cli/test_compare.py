import json

import numpy as np
import pytest


def write_rates(path, median_bps, seed, n=900, sigma=0.4):
    rng = np.random.default_rng(seed)
    rates = rng.lognormal(np.log(median_bps), sigma, n)
    lines = ["time,direction,duration_s,rate_bps"]
    lines += [f"2026-06-15T{8 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z,up,1,{rate:.0f}"
              for i, rate in enumerate(rates)]  # fmt: skip
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def slow_and_fast(tmp_path):
    return [write_rates(tmp_path / "slow.csv", 2e6, 1), write_rates(tmp_path / "fast.csv", 8e6, 2)]


def test_another_technology_is_real(run, slow_and_fast):
    code, out, err = run("compare", *slow_and_fast)
    assert (code, err) == (0, "")
    words = " ".join(out.split())
    assert "fast.csv against slow.csv, up: REAL, the median second is faster by a factor" in words
    assert "down: not compared, never measured on slow.csv" in words


def test_two_halves_of_one_stationary_trace_are_not(run, tmp_path):
    path = write_rates(tmp_path / "one.csv", 5e6, 3, n=1800)
    code, out, err = run("compare", path, "--halves")
    assert (code, err) == (0, "")
    words = " ".join(out.split())
    assert "NOT REAL" in words
    assert "within what one link shows from one day to the next" in words
    assert "more tests of 10 s" in words


def test_shared_traces_of_two_technologies_are_told_apart(run, shared_traces):
    pair = [shared_traces / "delivery" / "umts-b-driving.up", shared_traces / "leo-1s/iperf.csv"]
    code, out, _ = run("compare", *pair, "--json")
    assert code == 0
    assert json.loads(out)["pairs"][0]["difference_is_real"] is True


def test_json_has_every_part(run, slow_and_fast, site_file):
    code, out, _ = run("compare", *slow_and_fast, "--site", site_file, "--start", "2026-06-29",
                       "--name", "S", "--name", "F", "--price", "F=20", "--json")  # fmt: skip
    record = json.loads(out)
    assert code == 0
    assert (record["schema"], record["site"]) == ("linkfit/compare/1", "Kestrel Ridge dig")
    assert [one["cost_per_month"] for one in record["links"]] == [None, 20]
    assert {"p05_bps", "p50_low_bps", "mean_high_bps"} <= set(record["links"][0]["rates"]["up"])
    (pair,) = record["pairs"]
    up = pair["rates"][0]
    assert up["p50"]["difference_bps"] == pytest.approx(6e6, rel=0.2)
    assert up["p50"]["low_bps"] < up["p50"]["difference_bps"] < up["p50"]["high_bps"]
    chances = [pair[f"prob_{w}"] for w in ("first_better", "alike", "second_better")]
    assert sum(chances) == pytest.approx(1, abs=1e-3)


def test_the_same_seed_gives_the_same_bytes(run, slow_and_fast):
    ask = ("compare", *slow_and_fast, "--json", "--seed", 7)
    assert run(*ask) == run(*ask)


@pytest.mark.parametrize("columns", [80, 40])
def test_no_line_is_longer_than_the_terminal(run, slow_and_fast, site_file, columns):
    _, out, _ = run("compare", *slow_and_fast, "--site", site_file, columns=columns)
    assert max(map(len, out.splitlines())) <= columns


def test_figures_are_written_where_asked(run, slow_and_fast, tmp_path):
    folder = tmp_path / "figures"
    code, _, err = run("compare", *slow_and_fast, "--figures", folder)
    assert (code, err) == (0, f"1 figure of the comparison in {folder}\n")
    assert [path.name for path in folder.iterdir()] == ["rates-up.svg"]


def test_hostile_names_cannot_act(run, slow_and_fast, tmp_path):
    bad = "a\x1b]0;owned\x07[red]\u202e"
    code, out, err = run("compare", *slow_and_fast, "--name", bad, "--name", "<script>",
                         "--figures", tmp_path / "f")  # fmt: skip
    assert code == 0
    assert not {"\x1b", "\x07", "\u202e"} & set(out + err)
    svg = (tmp_path / "f" / "rates-up.svg").read_text()
    assert "<script" not in svg
    _, out, _ = run("compare", *slow_and_fast, "--name", bad, "--name", "b", "--json")
    assert out.isascii()


def test_a_split_without_a_clock_says_what_to_do(run, tmp_path):
    path = tmp_path / "x.csv"
    path.write_text("rate_bps\n1e6\n2e6\n3e6\n")
    code, out, err = run("compare", path, "--split", "2026-01-01", "--direction", "up")
    assert (code, out) == (2, "")
    assert "error:" in err
