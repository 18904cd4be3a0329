"""``linkfit photos`` on a small camp."""

import json

import pytest

SITE = """\
[site]
name = "Kestrel Ridge dig"
[[service]]
name = "finds"
kind = "photo-library"
users = 4
"""


@pytest.fixture
def site(tmp_path):
    file = tmp_path / "finds.toml"
    file.write_text(SITE)
    return file


@pytest.mark.slow
def test_a_table_a_task_with_the_present_first(run, site, quick):
    code, out, err = run("photos", site, *quick, "--edge", 1200, "--json", "--seed", 2)
    assert code == 0, err
    record = json.loads(out)
    assert (record["schema"], record["seed"]) == ("linkfit/photos/1", 2)
    tasks = {task["task"]: task["choices"] for task in record["tasks"]}
    assert set(tasks) == {"open the grid", "view a photo"}
    view = tasks["view a photo"]
    assert view[0]["present"]
    # the measured median at 1440 px and quality 80 is 209 kB
    assert view[0]["median_bytes"] == pytest.approx(209e3, rel=0.02)
    assert 1200 in {choice["edge_px"] for choice in view}
    small = next(c for c in view if (c["edge_px"], c["format"]) == (720, "webp"))
    assert small["cycle_saved_bytes"] > 0
    for choice in view:
        assert choice["p95_low_s"] <= choice["p95_s"] <= choice["p95_high_s"]
        assert choice["p05_bytes_per_cycle"] <= choice["p50_bytes_per_cycle"]


@pytest.mark.slow
@pytest.mark.parametrize("columns", [80, 40])
def test_the_screen(run, site, quick, columns):
    code, out, _ = run("photos", site, *quick, "--set", "users=2", columns=columns)
    assert code == 0
    assert max(map(len, out.splitlines())) <= columns
    text = " ".join(out.split())
    for part in ("users = 2 (was 4)", "finds: view a photo (1 picture, 2 users, target 2.0 s)",
                 "720 px WebP q80", "114 pictures"):  # fmt: skip
        assert part in text, part


def test_a_site_without_pictures_says_so(run, tmp_path, quick):
    file = tmp_path / "shell.toml"
    file.write_text(SITE.replace("photo-library", "remote-shell"))
    _, out, _ = run("photos", file, *quick)
    assert "No task of this site sends stored pictures" in out


def test_a_quality_beyond_100_is_refused(run, site, quick):
    code, _, err = run("photos", site, *quick, "--quality", 101)
    assert code == 2
    assert "--quality" in err
