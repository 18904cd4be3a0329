import json

import pytest


@pytest.mark.slow
def test_the_demo_answers_as_reviewed_and_writes_the_same_files_each_time(run, golden, tmp_path):
    folders = [tmp_path / "one", tmp_path / "two"]
    code, text, err = run("demo", "--output", folders[0])
    assert code == 0
    assert "Kestrel Ridge" in text
    assert str(folders[0] / "report.html") in err
    code, record, _ = run("demo", "--output", folders[1], "--json")
    assert code == 0
    assert json.loads(record)["schema"] == "linkfit/advice/1"
    names = sorted(path.name for path in folders[0].iterdir())
    assert len(names) >= 10
    for name in names:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes(), name
    golden("demo.txt", text)


def test_a_folder_that_cannot_be_made_is_refused_before_the_work(run, tmp_path):
    (tmp_path / "file").write_text("")
    code, out, err = run("demo", "--output", tmp_path / "file")
    assert (code, out) == (2, "")
    assert "can be written, got" in err
