import json

import pytest


@pytest.mark.slow
def test_the_demo_answers_and_writes_its_figures_the_same_each_time(run, tmp_path):
    folders = [tmp_path / "one", tmp_path / "two"]
    first, second = (run("demo", "--output", folder) for folder in folders)
    assert first[0] == 0
    assert first[1] == second[1]
    assert "Kestrel Ridge" in first[1]
    assert str(folders[0] / "report.html") in first[2]
    names = sorted(path.name for path in folders[0].iterdir())
    assert len(names) >= 10
    for name in names:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes(), name


@pytest.mark.slow
def test_its_json_is_the_advice(run, tmp_path):
    code, out, _ = run("demo", "--output", tmp_path / "figures", "--json")
    assert code == 0
    assert json.loads(out)["schema"] == "linkfit/advice/1"


def test_a_folder_that_cannot_be_made_is_refused_before_the_work(run, tmp_path):
    (tmp_path / "file").write_text("")
    code, out, err = run("demo", "--output", tmp_path / "file")
    assert (code, out) == (2, "")
    assert "can be written, got" in err
