"""The advice on each example site: all targets met, or exit code 4 with what is in the way."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# a day on which no deadline of the site has passed
STARTS = {
    "kestrel-ridge": "2026-06-29",
    "vet-van": "2026-03-16",
    "village-festival": "2026-07-13",
    "hill-station": "2026-11-16",
}


def test_every_example_site_has_a_day():
    assert {path.stem for path in (ROOT / "examples").glob("*.toml")} == set(STARTS)


@pytest.mark.slow
@pytest.mark.parametrize("name", STARTS)
def test_the_advice_meets_all_targets_or_says_what_is_in_the_way(name):
    done = subprocess.run(
        [sys.executable, "-m", "linkfit", "advise", f"examples/{name}.toml", f"traces/{name}",
         "--start", STARTS[name], "--json"],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    record = json.loads(done.stdout)
    assert done.returncode == (0 if record["feasible"] else 4), done.stderr
    missed = [target for target in record["targets"] if not target["met_after"]]
    assert bool(missed) == (not record["feasible"]) == bool(record["in_the_way"])
    assert any(not target["met_before"] for target in record["targets"]), "nothing to advise on"
    assert len(record["reasons"]) == len(record["changes"]) > 0
    assert all(" -> " in reason and "Cost: " in reason for reason in record["reasons"])
    cheapest, kept = record["answers"]["cheapest"], record["answers"]["quality_kept"]
    assert (cheapest["feasible"], kept["worst_loss_frac"]) == (record["feasible"], 0)
    front = record["answers"]["cost_against_targets"]
    costs = [(answer["cost_points"], answer["n_met"]) for answer in front]
    assert costs == sorted(set(costs))
    if record["feasible"]:
        assert front[-1]["n_met"] == cheapest["n_targets"]
