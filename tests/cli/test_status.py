import json

import pytest

from linkfit.probe.store import Batch, Store

DAY_S = 1_781_913_600


@pytest.fixture
def store_file(tmp_path):
    store = Store(tmp_path / "camp.store")
    batch = Batch(meta={"counters": "wwan0 a 1 2"}, seconds=[(DAY_S + 86400 * 5, 1, 1)])
    for hour in range(24 * 5):
        batch.add_use(DAY_S + 3600 * hour, 100_000_000, 0, 3600)
    store.commit(batch)
    store.close()
    return store.path


def test_a_person_reads_it(run, store_file, site_file):
    code, out, _ = run("status", store_file, "--site", site_file, "--on", "2026-06-25T02:00")
    assert code == 0
    assert "12.0 GB of 60.0 GB used (20 %)" in out
    assert "of both, tests by linkfit" in out


def test_a_program_reads_it(run, store_file):
    code, out, _ = run("status", store_file, "--cap", "20 GB", "--json", "--on", "2026-06-25")
    assert code == 0
    record = json.loads(out)
    assert record["schema"] == "linkfit/status/1"
    assert record["use"]["exhausted"]["p50"].startswith("2026-06-28T08:00")


def test_no_store_is_exit_2(run, tmp_path):
    code, _, err = run("status", tmp_path / "none")
    assert code == 2
    assert "expected a store that can be read" in err
