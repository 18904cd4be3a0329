"""``linkfit caching`` on a small camp, with and without a log."""

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
DAYS = range(1, 11)


@pytest.fixture
def site(tmp_path):
    file = tmp_path / "finds.toml"
    file.write_text(SITE)
    return file


@pytest.fixture
def log(tmp_path):
    """Two visitors look at the same two thumbnails each day."""
    file = tmp_path / "access.log"
    lines = [
        f"198.51.100.{who} - - [{day:02d}/Jun/2026:0{who}:00:00 +0000] "
        f'"GET /{what} HTTP/1.1" 200 9000'
        for day in DAYS for who in (1, 2) for what in "ab"
    ]  # fmt: skip
    file.write_text("\n".join(lines) + "\n")
    return file


def record(run, *arguments):
    code, out, err = run("caching", *arguments, "--json")
    assert code == 0, err
    return json.loads(out)


def test_every_lifetime_with_its_interval(run, site, quick_file):
    found = record(run, site, quick_file, "--lifetime", "3 days", "--seed", 5)
    assert (found["schema"], found["seed"], found["told_by"]) == (
        "linkfit/caching/1", 5, "formula",
    )  # fmt: skip
    assert [row["lifetime_s"] for row in found["lifetimes"]] == [
        3600, 86400, 259200, 604800, 2592000,
    ]  # fmt: skip
    for row in found["lifetimes"]:
        assert row["p05_saved_frac"] <= row["p50_saved_frac"] <= row["p95_saved_frac"]
    busy = [row["uplink_busy_frac"] for row in found["lifetimes"]]
    assert busy == sorted(busy, reverse=True)


def test_the_log_tells_instead(run, site, log):
    found = record(run, site, "--log", log, "--cache-size", "10 kB", "--cache-size", "1 MB")
    assert found["told_by"] == "log"
    assert found["log"]["n_requests"] == 40
    assert found["log"]["again_frac"] == 0.95
    # a copy of a week: fetched on days 1 and 8 of ten by each browser
    week = next(row for row in found["lifetimes"] if row["lifetime_s"] == 604800)
    assert week["p50_hit_frac"] == pytest.approx(0.8)
    assert [row["cache_bytes"] for row in found["cache_sizes"]] == [1e4, 1e6]
    assert "198.51" not in json.dumps(found)


@pytest.mark.parametrize("columns", [80, 40])
def test_the_screen(run, site, log, columns):
    _, out, _ = run("caching", site, "--log", log, "--cache-size", "1 MB", "--set", "users=8",
                    columns=columns)  # fmt: skip
    assert max(map(len, out.splitlines())) <= columns
    text = " ".join(out.split())
    for part in ("users = 8 (was 4)", "finds: open the grid", "each visitor's browser",
                 "40 requests for 2 objects from 2 addresses in 9.0 days", "7.0 days",
                 "private, in HTTP"):  # fmt: skip
        assert part in text, part


def test_the_views_of_the_site_file_are_said_to_be_known_to_a_factor(run, site):
    _, out, _ = run("caching", site)
    assert "known to a factor of 2 (common practice)" in " ".join(out.split())


def test_a_site_with_nothing_to_keep_says_so(run, tmp_path):
    file = tmp_path / "shell.toml"
    file.write_text(SITE.replace("photo-library", "remote-shell"))
    _, out, _ = run("caching", file)
    assert "Nothing that this site sends may be kept by a cache" in " ".join(out.split())


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--cache-size", "1 MB"], "--cache-size: expected a --log beside it, got none"),
        (["--lifetime", "soon"], "--lifetime: expected"),
        (["--log", "none.log"], "expected a readable access log"),
    ],
)
def test_what_cannot_be_meant_is_told(run, site, arguments, message):
    code, out, err = run("caching", site, *arguments)
    assert (code, out) == (2, "")
    assert message in err


@pytest.fixture
def quick_file(tmp_path):
    file = tmp_path / "up.csv"
    rows = "\n".join(f"2026-06-15T08:00:{i:02d}Z,up,1,6000000" for i in range(50))
    file.write_text("time,direction,duration_s,rate_bps\n" + rows + "\n")
    return file
