"""Snippets: every line a comment, right values, hostile names harmless."""

from types import SimpleNamespace

import pytest

from linkfit.advice.change import Change, Cost
from linkfit.advice.edits import Edit
from linkfit.report.advice_snippets import snippets_text
from linkfit.site.hours import DayWindow
from linkfit.site.model import Cache, Service, Site, SizeLaw, Task


def advice(*edits, service="finds", scope="browser"):
    task = Task(name="grid", flow="out", size=SizeLaw(median_bytes=1e4), cache=Cache(scope=scope))
    site = Site(name="x", services=(Service(name=service, kind="own", n_users=1, tasks=(task,)),))
    chosen = tuple(
        Change(what=f"setting {i}", service=service, setting=f"{i}", before_text="a",
               after_text="b", cost_text="c", cost=Cost(), edits=(edit,))
        for i, edit in enumerate(edits)
    )  # fmt: skip
    return SimpleNamespace(before=SimpleNamespace(site=site), chosen=chosen)


def edit(editor, value, field="", **names):
    return Edit(editor=editor, field=field, value=value, service="finds", task="grid", **names)


@pytest.mark.parametrize(
    ("one", "line"),
    [
        # RFC 9111 section 5.2.2: what only visitors' own browsers may keep is private
        (edit("cache", 604800.0), "# Cache-Control: private, max-age=604800"),
        (edit("service", 2e6, "rate_limit_bps"),
         "# tc qdisc add dev INTERFACE root tbf rate 2000000bit burst 12500 latency 50ms"),
        (edit("service", 2e6, "rate_limit_bps"), "# rate limit = 250 kB/s"),
        (edit("backlog", (DayWindow(start_h=23.0, end_h=6.5),), "window", name="heap"),
         "# 30 6 * * * COMMAND-TO-STOP"),
        (edit("local names", True), "# NAME-OF-SERVER. 300 IN A LOCAL-ADDRESS"),
        (edit("image", 720, "edge_px"),
         "# store a copy for viewing beside the original: long edge of 720 px, never enlarged"),
        # RFC 8622: lower effort is DSCP 000001, in the upper six bits of the octet (RFC 2474)
        (edit("service", "low", "priority"),
         "# iptables -t mangle -A OUTPUT -m owner --uid-owner USER -j DSCP --set-dscp 1"),
        (edit("service", "low", "priority"),
         "# tc filter add dev INTERFACE parent 1: protocol ip prio 1 u32 match ip tos 0x04 0xfc "
         "flowid 1:2"),
        (edit("task", 8e6, "chunk_bytes"), "# set this in the program itself"),
    ],
)  # fmt: skip
def test_each_kind_of_setting_has_its_line(one, line):
    assert line in snippets_text(advice(one)).splitlines()


def test_public_content_may_be_kept_by_all():
    text = snippets_text(advice(edit("cache", 60.0), scope="shared"))
    assert "# Cache-Control: public, max-age=60" in text


def test_hostile_names_stay_in_one_comment():
    bad = "x\nrm -rf /\r\x1b]0;y\x07 \u2028$(reboot)"
    hostile = advice(Edit(editor="local names", value=True), service=bad)
    lines = snippets_text(hostile).split("\n")
    assert all(line == "" or line.startswith("# ") for line in lines)
    assert not {"\x1b", "\r", "\x07", "\u2028"} & set("".join(lines))


def test_nothing_to_change_is_said():
    assert snippets_text(advice()).endswith("# Nothing to change.\n")
