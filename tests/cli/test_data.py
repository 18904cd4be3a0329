import json


def test_json_has_the_ledger_and_the_smallest_plan(run, site_file):
    code, out, _ = run("data", site_file, "--json")
    record = json.loads(out)
    assert (code, record["schema"]) == (0, "linkfit/data/1")
    data = record["data"]
    assert data["cap_bytes"] == 60e9
    assert data["p05_bytes"] <= data["p50_bytes"] <= data["p95_bytes"]
    assert abs(data["smallest_plan_bytes"] / data["p95_bytes"] - 1) < 0.001
    assert {"cause", "p50_bytes"} <= set(data["ledger"][0])


def test_another_cap_changes_the_chance_of_an_overrun(run, site_file):
    chances = []
    for option, cap in (("--plan", "1 MB"), ("--cap", "900 GB")):
        _, out, _ = run("data", site_file, option, cap, "--json")
        chances.append(json.loads(out)["data"]["prob_over_cap"])
    assert chances == [1.0, 0.0]


def test_a_slow_link_bounds_what_backlogs_move(run, site_file, tmp_path):
    slow = tmp_path / "slow.csv"
    rows = "\n".join(f"2026-06-15T08:00:{i:02d}Z,up,1,300" for i in range(50))
    slow.write_text("time,direction,duration_s,rate_bps\n" + rows + "\n")
    _, free, _ = run("data", site_file, "--json")
    _, bounded, _ = run("data", site_file, slow, "--json")
    assert json.loads(bounded)["data"]["p50_bytes"] < json.loads(free)["data"]["p50_bytes"]


def test_the_site_can_come_through_standard_input(run, site_file):
    code, out, err = run("data", "-", stdin=site_file.read_bytes())
    assert (code, err) == (0, "")
    assert "what spends it" in out


def test_every_problem_of_a_site_is_told_at_once(run, site_file):
    text = site_file.read_text().replace("users = 3", "users = -3").replace('"60 GB"', '"0 GB"')
    site_file.write_text(text)
    code, out, err = run("data", site_file)
    assert (code, out) == (2, "")
    assert "users" in err
    assert "cap" in err


def test_measured_use_gives_a_date(run, site_file):
    whole_bytes = json.loads(run("data", site_file, "--json")[1])["data"]["p50_bytes"]
    used = f"{whole_bytes:.0f} B"  # in less than half of the cycle: faster than foreseen
    cap = f"{1.5 * whole_bytes:.0f} B"
    code, out, _ = run(
        "data", site_file, "--used", used, "--on", "2026-06-14", "--plan", cap, "--json"
    )
    record = json.loads(out)
    assert code == 0
    assert record["cycle"]["start"] == "2026-06-01"
    assert "2026-06-14" <= record["cycle"]["runs_out_on"]["p50"] < "2026-07-01"
    assert record["data"]["p50_bytes"] > 1.3 * whole_bytes


def test_impossible_use_is_refused_with_the_reason(run, site_file):
    code, out, err = run("data", site_file, "--used", "31 GB")
    assert (code, out) == (2, "")
    assert "--on: expected the day on which --used was read" in err
    code, _, err = run("data", site_file, "--task", "fly")
    assert code == 2
    assert "--task: expected one of" in err


def test_what_works_when_slowed_down_is_told(run, site_file, tmp_path):
    link = tmp_path / "link.csv"
    rows = "\n".join(f"2026-06-15T08:00:{i:02d}Z,{way},1,9000000" for i in range(50)
                     for way in ("up", "down"))  # fmt: skip
    link.write_text("time,direction,duration_s,rate_bps\n" + rows + "\n")
    code, out, _ = run("data", site_file, link, "--slowed-to", "128 kbit/s")
    assert code == 0
    assert "Slowed to 128 kbit/s each way" in out
