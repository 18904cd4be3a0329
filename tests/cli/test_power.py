"""`linkfit power` as a command."""

import json

import pytest

pytestmark = pytest.mark.slow

POWER = """[site]
name = "hut"
[power]
battery = "640 Wh"
load = "13 W"
load_busy = "16 W"
panel = "120 W"
sun_hours = [1.6, 2.3, 3.4, 4.4, 5.2, 5.8, 6.0, 5.5, 4.3, 2.9, 1.9, 1.4]
"""


@pytest.fixture
def hut(tmp_path):
    path = tmp_path / "hut.toml"
    path.write_text(POWER)
    return path


def test_how_many_hours_in_december(run, hut):
    """Question 21."""
    code, out, _ = run("power", hut, "--month", "december", "--json")
    record = json.loads(out)
    assert (code, record["schema"]) == (0, "linkfit/power/1")
    [december] = record["months"]
    assert december["p05_h"] < december["mean_p50_h"] < december["p95_h"]
    assert record["energy_per_gb"] == []
    assert record["cautions"]


def test_what_a_gb_costs(run, hut, quick):
    """Question 22."""
    code, out, _ = run("power", hut, *quick, "--json")
    energies = {one["direction"]: one for one in json.loads(out)["energy_per_gb"]}
    assert code == 0
    assert energies["up"]["p05_wh"] < energies["up"]["p50_wh"] < energies["up"]["p95_wh"]
    assert energies["up"]["p50_wh"] > energies["down"]["p50_wh"]  # slower is dearer
    assert energies["up"]["added"]["p50_wh"] < energies["up"]["p50_wh"]


def test_it_reads_well_and_the_same_each_time(run, hut):
    first = run("power", hut)
    assert first[0] == 0
    assert "december" in first[1]
    assert "Before you rely on this" in first[1]
    assert run("power", hut) == first


def test_a_site_up_by_the_clock_is_bad_input(run, site_file):
    code, out, err = run("power", site_file)
    assert (code, out) == (2, "")
    assert "[power]" in err
