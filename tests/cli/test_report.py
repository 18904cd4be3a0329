"""linkfit report: files by their endings, same seed same bytes, --from makes the same again."""

import json
import re

import pytest

pytestmark = pytest.mark.slow  # a search evaluates the site dozens of times


# one task and no cap: the search for changes has next to nothing to do
SITE = """
[site]
name = "hut"
[[service]]
name = "photos"
kind = "photo-library"
users = 2
only_listed_tasks = true
  [[service.task]]
  name = "view a photo"
  target = "60 s"
"""
# its futures over weeks are most of what a report costs: told once, here
BACKLOG = """
[[backlog]]
name = "heap"
items = 30
size = { median = "3.5 MB", spread = 1.6 }
"""


@pytest.fixture
def ask(tmp_path, quick):
    site = tmp_path / "site.toml"
    site.write_text(SITE, encoding="utf-8")
    return ["report", site, *quick, "--start", "2026-06-29"]


def test_a_page_is_written_its_path_told_and_what_was_read_kept_in_it(run, steady_file, tmp_path):
    page, site = tmp_path / "report.html", tmp_path / "site.toml"
    site.write_text(SITE + BACKLOG, encoding="utf-8")
    code, out, _ = run("report", site, steady_file, "--start", "2026-06-29", "-o", page)
    assert code == 0
    assert out == f"{page}\n"
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert "heap" in text.partition("report-inputs")[0]
    assert len(text) < 2_000_000
    record = json.loads(re.search(r'id="report-inputs">([^<]*)<', text)[1])
    assert record["schema"] == "linkfit/report/1"
    assert record["site"] == SITE + BACKLOG
    assert record["seed"] == 0
    assert record["start"] == "2026-06-29"


def test_from_reproduces_the_same_page(run, ask, tmp_path):
    first, second = tmp_path / "first.html", tmp_path / "second.html"
    run(*ask, "-o", first, "--seed", 5, "--set", "plan.cap=40GB")
    code, _, err = run("report", "--from", first, "-o", second)
    assert code == 0, err
    assert second.read_bytes() == first.read_bytes()


def test_what_changed_since_an_earlier_report(run, ask, tmp_path):
    old, new, text, again = (tmp_path / name for name in ("o.html", "n.html", "n.md", "a.html"))
    run(*ask, "-o", old, "--set", "photos.users=5")
    code, out, err = run(*ask, "-o", new, "-o", text, "-o", tmp_path / "n.pdf", "--earlier", old)
    assert code == 0, err
    assert out.splitlines() == [str(new), str(text), str(tmp_path / "n.pdf")]
    assert 'id="since"' in new.read_text(encoding="utf-8")
    markdown = text.read_text(encoding="utf-8")
    assert "### What changed since the earlier report" in markdown
    assert "| photos.users | 5 | 2 |" in markdown
    assert "both stand on the same measurements" in markdown
    # the page holds the earlier answers as well, so that it makes itself again
    code, _, err = run("report", "--from", new, "-o", again)
    assert code == 0, err
    assert again.read_bytes() == new.read_bytes()


def test_markdown_and_pdf_and_figures_come_together_with_the_same_bytes(run, ask, tmp_path):
    written = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        code, out, err = run(*ask, "-o", folder / "r.md", "-o", folder / "r.pdf",
                             "--figures", folder / "figures")  # fmt: skip
        assert code == 0, err
        assert out.splitlines() == [str(folder / "r.md"), str(folder / "r.pdf")]
        files = sorted(path for path in folder.rglob("*") if path.is_file())
        written.append({str(path.relative_to(folder)): path.read_bytes() for path in files})
    assert written[0] == written[1]
    names = {name.removeprefix("figures/") for name in written[0] if name.startswith("figures/")}
    assert {"payload-times.svg", "payload-times.png", "data-fan.svg"} <= names


def test_a_file_that_is_there_stays_unless_replace_is_said(run, ask, tmp_path):
    page = tmp_path / "report.md"
    page.write_text("mine", encoding="utf-8")
    code, _, err = run(*ask, "-o", page)
    assert code == 2
    assert "--replace" in err
    assert page.read_text(encoding="utf-8") == "mine"
    assert run(*ask, "-o", page, "--replace")[0] == 0
    assert page.read_text(encoding="utf-8").startswith("# Capacity report")
