import pytest


@pytest.mark.parametrize(("arguments", "match"), [
    (["-o", "r.html"], "SITE: expected a site file, got nothing"),
    (["--from", "absent.html", "-o", "r.html"], "expected a page written by linkfit report"),
    (["--from", "x.html", "--seed", "3", "-o", "r.html"], "--from: expected no --set, --start"),
    (["absent.toml", "--up", "1 Mbit/s", "-o", "r.html"], "absent.toml"),
])  # fmt: skip
def test_what_does_not_go_together_is_refused(run, tmp_path, monkeypatch, arguments, match):
    monkeypatch.chdir(tmp_path)
    code, out, err = run("report", *arguments)
    assert code == 2
    assert out == ""
    assert match in err
    assert not list(tmp_path.iterdir())


def test_a_damaged_page_is_refused(run, tmp_path):
    page = tmp_path / "page.html"
    page.write_text('<script type="application/json" id="report-inputs">{"a": </script>', "utf-8")
    code, _, err = run("report", "--from", page, "-o", tmp_path / "again.html")
    assert code == 2
    assert "damaged" in err
