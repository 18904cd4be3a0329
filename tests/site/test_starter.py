"""The starter file: it parses as it stands, and with every comment taken away."""

import re

import pytest

from linkfit.errors import ConfigError
from linkfit.site.entries import BackgroundEntry, BacklogEntry, ServiceEntry, TaskEntry
from linkfit.site.file import parse_site
from linkfit.site.kinds import KINDS
from linkfit.site.place_entries import HoursEntry, PathEntry, PlanEntry, PowerEntry, SiteEntry
from linkfit.site.starter import starter_text

MODELS = (
    SiteEntry, PlanEntry, PathEntry, HoursEntry, PowerEntry, ServiceEntry, TaskEntry,
    BacklogEntry, BackgroundEntry,
)  # fmt: skip


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_gives_a_file_that_parses_as_it_stands(kind):
    site = parse_site(starter_text([kind], "Kestrel Ridge dig", "Europe/Lisbon"))
    assert (site.name, site.timezone) == ("Kestrel Ridge dig", "Europe/Lisbon")
    (service,) = site.services
    assert (service.kind, service.n_users) == (kind, 1)
    assert service.tasks == KINDS[kind].tasks
    assert site.plan.cap_bytes is None, "nothing is claimed that nobody wrote"


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_comment_can_be_taken_away(kind):
    text = re.sub(r"(?m)^# (\w+ = |\[\[?)", r"\1", starter_text([kind]))
    power = text.index("[power]")
    text = text[:power] + text[text.index("\n\n", power) :]  # hours or power
    site = parse_site(text)
    assert site.plan.cap_bytes == site.plan.tether_bytes == 30e9, "of a plan of 60 GB"
    assert (site.plan.carry_over_bytes, site.plan.round_up_bytes) == (20e9, 1e6)
    assert site.path.body_limit_bytes == 100e6
    (service,) = site.services
    names = [task.name for task in (*KINDS[kind].tasks, *KINDS[kind].occasional)]
    assert [task.name for task in service.tasks] == [*names, "look at a plan"]
    for task, usual in zip(service.tasks, KINDS[kind].tasks, strict=False):
        assert task.flow == usual.flow
        assert task.per_user_day == pytest.approx(usual.per_user_day, rel=0.01)
    assert len(site.backlogs) == 1


def test_every_key_stands_there_with_a_comment():
    lines = starter_text(list(KINDS)).splitlines()
    shown = {m[1] for line in lines if (m := re.match(r"#?(?: or)? *(\w+) = .+ # \w.+", line))}
    keys = {key for model in MODELS for key in model.model_fields}
    assert keys - {"task"} <= shown


def test_the_head_tells_the_directions():
    text = starter_text(["chat"])
    assert "said from the server" in text
    assert "up and down are the link's own directions" in text


def test_a_kind_named_twice_gives_two_services():
    site = parse_site(starter_text(["chat", "backup", "chat"]))
    assert [service.name for service in site.services] == ["chat", "backup", "chat 2"]


@pytest.mark.parametrize("name", ['"', "\\", "\x1b[31m", "a\nb", "]] = [[", "'''"])
def test_names_are_data(name):
    assert parse_site(starter_text(["chat"], name)).name == name


def test_all_wrong_options_are_told_at_once():
    with pytest.raises(ConfigError, match="expected") as caught:
        starter_text(["chatt", "x"], "", "Mars")
    problems = caught.value.problems
    assert len(problems) == 4
    assert any("got 'chatt'; did you mean 'chat'?" in problem for problem in problems)
    with pytest.raises(ConfigError, match="kinds: expected at least one kind, got none"):
        starter_text([])
