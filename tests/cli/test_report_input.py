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


@pytest.mark.parametrize(("text", "match"), [
    (None, "expected a page written by linkfit report, got No such file"),
    ("<p>a page", "a file without answers; give the page itself"),
    ('<script type="application/json" id="report-inputs">{}</script>',
     "expected a report that holds its answers, got one of an earlier release"),
    ('<script type="application/json" id="report-answers">{"schema": 3}</script>',
     "schema of the answers: expected 'linkfit/report-answers/1', got '3'"),
])  # fmt: skip
def test_an_earlier_report_without_answers_is_refused(run, quick, tmp_path, text, match):
    site, old = tmp_path / "site.toml", tmp_path / "old.html"
    site.write_text('[site]\nname = "hut"\n', encoding="utf-8")
    if text is not None:
        old.write_text(text, encoding="utf-8")
    code, out, err = run("report", site, *quick, "-o", tmp_path / "r.html", "--earlier", old)
    assert code == 2
    assert out == ""
    assert match in " ".join(err.split())
    assert not (tmp_path / "r.html").exists()
