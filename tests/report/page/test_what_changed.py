"""The section on what changed: its words, its three tables, hostile names in it harmless."""

import re

import numpy as np

from linkfit.report.page.answers import Answers, ToldNumber, ToldRecord, ToldService
from linkfit.report.page.blocks import Bullets, Report, Table
from linkfit.report.page.html_page import html_page
from linkfit.report.page.markdown_page import markdown_page
from linkfit.report.page.what_changed import since_section

HOSTILE = "</script><script>alert(1)</script>\x1b[31m[x](javascript:alert(2))"


def number(kind, name, unit, worlds):
    worlds = tuple(None if np.isinf(w) else float(w) for w in worlds)
    known = sorted(np.inf if w is None else w for w in worlds)
    low, middle, high = (None if np.isinf(known[i]) else known[i] for i in (0, 10, -1))
    what = "19 of 20 within" if kind == "task" else "median"
    return ToldNumber(kind=kind, name=name, what=what, unit=unit, value=middle, low=low,
                      high=high, worlds=worlds)  # fmt: skip


def answers(*, factor=1.0, heap_days=5.0, verdict="fits", n_tests=10, **more):
    around = np.linspace(0.95, 1.05, 20)
    fields = {
        "version": "1",
        "seed": 0,
        "site": "camp",
        "link_sha256": f"{factor}{n_tests}",
        "services": (ToldService(name="notes", verdict=verdict, slowest="notes: open",
                                 in_time_prob=0.97, low_prob=0.9, high_prob=0.99),),
        "numbers": (
            number("link", "up", "bit/s", 5e6 * factor * around),
            number("data", "data wanted in a billing cycle", "bytes", 9e10 * around),
            number("backlog", "heap", "days", heap_days * around),
            number("task", "notes: open", "s", 3.0 * around),
        ),
        "records": (ToldRecord(direction="up", first_day="2026-06-01", last_day="2026-06-08",
                               n_tests=n_tests, hour_fracs=(), hours_sigma=0.1),),
        "settings": {"plan.cap": "60 GB"},
    }  # fmt: skip
    return Answers(**(fields | more))


def parts(section):
    bullets = next(block for block in section.blocks if isinstance(block, Bullets))
    return bullets.items, {b.header[0]: b for b in section.blocks if isinstance(b, Table)}


def test_without_an_earlier_report_nothing_is_said():
    assert since_section(None, answers()) is None


def test_nothing_changed():
    items, tables = parts(since_section(answers(), answers()))
    assert items[0] == "no verdict moved"
    assert items[1] == "really changed: 0 of 4 numbers"
    assert "say the same" in items[2]
    assert "both stand on the same measurements" in items
    assert list(tables) == ["number"]
    assert {row[3:] for row in tables["number"].rows} == {("none", "no")}


def test_what_moved_is_said_with_its_interval_and_whether_it_is_real():
    now = answers(factor=0.5, verdict="does not fit", n_tests=20,
                  settings={"plan.cap": "60GB", "notes.users": "9"})  # fmt: skip
    items, tables = parts(since_section(answers(), now))
    assert items[0] == "1 verdict moved"
    assert items[1] == (
        "really changed: 1 of 4 numbers (link up (server to internet), median of the measured "
        "seconds)"
    )
    assert items[2] == "1 setting of the site differs"
    assert "10 runs from 2026-06-01 to 2026-06-08 then, 20 runs" in items[3]
    assert tables["service"].rows[0][:3] == ("notes", "fits", "does not fit")
    assert tables["setting"].rows == (("notes.users", "not set", "9"),)
    first = tables["number"].rows[0]
    assert first[1] == "5.0 Mbit/s (4.8 to 5.2 Mbit/s)"
    assert re.fullmatch(r"-2.5 Mbit/s \(-2.\d Mbit/s to -2.\d Mbit/s\)", first[3])
    assert first[4] == "yes"


def test_a_backlog_that_never_ends_any_more():
    _, tables = parts(since_section(answers(), answers(heap_days=np.inf)))
    row = next(row for row in tables["number"].rows if row[0].startswith("heap"))
    assert row[2:] == ("never", "to never", "yes")


def test_another_release_and_another_site_are_told():
    items, _ = parts(since_section(answers(version="0.9", site="hut"), answers()))
    assert any("another site by its name: hut" in item for item in items)
    assert any("linkfit 0.9, this one of 1" in item for item in items)


def test_another_first_day_is_told_where_both_reports_know_theirs():
    told = "backlogs begin on 2026-06-15, on 2026-12-15 then"
    now = answers(start="2026-06-15")
    assert any(told in line for line in parts(since_section(answers(start="2026-12-15"), now))[0])
    for earlier in (answers(), answers(start="2026-06-15")):
        assert "begin on" not in " ".join(parts(since_section(earlier, now))[0])


def test_long_lists_are_cut_and_say_so():
    many = {f"s{n}": "1" for n in range(100)}
    _, tables = parts(since_section(answers(), answers(settings=many)))
    assert len(tables["setting"].rows) == 40
    assert "(the first 40 of 101)" in tables["setting"].caption


def test_hostile_names_of_the_earlier_page_act_nowhere():
    service = ToldService(name=HOSTILE, verdict=HOSTILE, slowest="", in_time_prob=None,
                          low_prob=None, high_prob=None)  # fmt: skip
    earlier = answers(version=HOSTILE, site=HOSTILE, services=(service,),
                      settings={HOSTILE: HOSTILE})  # fmt: skip
    section = since_section(earlier, answers())
    report = Report(title="t", subtitle="s", sections=(section,), answers=earlier)

    class NoInputs:
        def plain(self):
            return {"version": "1", "earlier": earlier.plain()}

    page = html_page(report, NoInputs())
    assert "<script>alert" not in page
    assert "\x1b" not in page
    text = markdown_page(report)
    assert "\x1b" not in text
    assert "](" not in text.replace("\\]", "")
    assert "<script>" not in text.replace("\\<", "")
