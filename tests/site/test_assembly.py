"""Tables to a Site: what each brings, and every problem of a file told at once."""

import re

import pytest

from linkfit.errors import ConfigError
from linkfit.site.background import default_background
from linkfit.site.file import parse_site
from linkfit.site.hours import DayWindow
from linkfit.site.model import Background, Image, PathLimits
from linkfit.site.photo_sizes import photo_size

HEAD = '[site]\nname = "dig"\n'


def problems_of(text):
    with pytest.raises(ConfigError, match="expected") as caught:
        parse_site(text, source="site.toml")
    return caught.value.problems


def test_a_name_is_enough():
    site = parse_site(HEAD)
    assert (site.name, site.timezone, site.services, site.backlogs) == ("dig", "UTC", (), ())
    assert site.plan.cap_bytes is None
    assert site.path == PathLimits()
    assert site.background == default_background(PathLimits())


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        ("[[service]]\nname = 'a'\nkind = 'chat'\nusers = 2\ncolour = 1",
         r"service 1: colour: expected one of the keys browser_.*, got 'colour'; take it out"),
        ("[[service]]\nname = 'a'\nkind = 'chat'\nuser = 2",
         r"service 1: user: expected one of the keys .*, got 'user'; did you mean 'users'\?"),
        ("[[service]]\nkind = 'chat'\nusers = 2",
         r'service 1: name: expected a value, got nothing; add name = "finds catalogue"'),
        ("[[service]]\nname = 'a'\nkind = 'chat'",
         r"service 1: users: expected the number of users, got nothing; add users = 1"),
        ("[[service]]\nname = 'a'\nkind = 'cameras'",
         r"service 1: users: expected the number of cameras, got nothing"),
        ("[[service]]\nname = 'a'\nkind = 'photo-libary'\nusers = 2",
         r"service 1: kind: expected one of photo-library, .*, upkeep, got 'photo-libary'; "
         r"did you mean 'photo-library'\?"),
        ("[[service]]\nname = 'a'\nkind = 'xyzzy'\nusers = 2",
         r"service 1: kind: .* got 'xyzzy'; choose the one whose tasks are most alike"),
        ("[[service]]\nname = 'a'\nkind = 'chat'\nusers = 8.5",
         r"service 1: users: expected a whole number, got 8.5; write it without"),
        ("[[service]]\nname = 'a'\nkind = 'chat'\nusers = '8'",
         r"service 1: users: expected a whole number, got '8'; write it without"),
        ("[[service]]\nname = 'a'\nkind = 'chat'\nusers = true",
         r"service 1: users: expected a whole number, got true"),
        ("[[service]]\nname = 'a'\nkind = 'chat'\nusers = -1",
         r"service 1: users: expected at least 0, got -1; meaning: how many"),
        ("[service]\nname = 'a'",
         r"service: expected \[\[service\]\] tables, got \[service\]; double the brackets"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\n[service.task]\nname='message'",
         r"service 1: task: expected \[\[service\.task\]\] tables, got \[service\.task\]; double"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\n[[service.task]]\nname='mesage'",
         r"service 1: task 1: expected size and flow, as 'mesage' is no task of chat, got nothing; "
         r"did you mean 'message'\?"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\n[[service.task]]\nname='shout'\nflow='in'",
         r"service 1: task 1: expected size, as 'shout' is no task of chat, got nothing; tasks of"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\n[[service.task]]\nname='message'\n"
         "size = '3 Mb'",
         r"service 1: task 1: size: expected a number and B, .*, got '3 Mb'; write bytes"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\n[[service.task]]\nname='message'\n"
         "size = { median = '3 kB', spread = 0.5 }",
         r"service 1: task 1: size: spread: expected at least 1, got 0.5; meaning: geometric"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\nonly_listed_tasks = true",
         r"service 1: only_listed_tasks: expected at least one \[\[service.task\]\], got none"),
        ("[[service]]\nname='a'\nkind='chat'\nusers=2\nvideo_rate = '1 Mbit/s'",
         r"service 1: video_rate: expected a kind with video, got 'chat'; set a"),
        ("[[service]]\nname='a'\nkind='photo-library'\nusers=2\nshared_cache = '7 days'",
         r"service 1: shared_cache: expected a kind whose content is public, "
         r"got 'photo-library'; what it sends is private: use browser_cache"),
        ("[plan]\ncap = '0 GB'", r"plan: cap: expected more than 0, got '0 GB'; leave the key out"),
        ("[plan]\ncap = 60", r"plan: cap: expected a text with a number and a unit, got 60; write"),
        ("[plan]\ncap = '60 Gbit'", r"plan: cap: expected a number and B, .* got '60 Gbit'"),
        ("[plan]\ncap = '1e999 GB'", r"plan: cap: expected a finite value, got '1e999 GB'"),
        ("[plan]\ncap = '1 GB'\nafter_cap = '512 kB/s'",
         r"plan: after_cap: expected a rate, \"stop\" or a price, got '512 kB/s'; write"),
        ("[plan]\ncap = '1 GB'\nafter_cap = '0 kbit/s'",
         r"plan: after_cap: expected a rate above 0, got '0 kbit/s'; for none write \"stop\""),
        ("[plan]\ncap = '1 GB'\nafter_cap = { price_per_GB = -4 }",
         r"plan: after_cap: price_per_GB: expected a number from 0 to 1e9, got -4"),
        ("[plan]\ncap = '1 GB'\nafter_cap = { price = 4 }",
         r"plan: after_cap: expected a rate, \"stop\" or a price, got a table; write"),
        ("[plan]\ncap = '1 GB'\nafter_cap = 512", r"plan: after_cap: .*, got 512; write"),
        ("[plan]\ncap = '1 GB'\ncycle_day = 32",
         r"plan: cycle_day: expected at most 31, got 32; meaning: day of the month"),
        ("[plan]\ncap = '1 GB'\ncounted = 'booth'",
         r"plan: counted: expected 'both', 'up' or 'down', got 'booth'; did you mean 'both'\?"),
        ("[path]\nbody_limit = '0 MB'", r"path: body_limit: expected more than 0, got '0 MB'"),
        ("[path]\nsame_link_share = 1.5", r"path: same_link_share: expected at most 1, got 1.5"),
        ("[path]\nsame_link_share = nan", r"path: same_link_share: expected .* got nan"),
        ("[path]\nsame_link_share = true", r"path: same_link_share: expected a number, got true"),
        ("path = 3", r"path: expected a table, got 3"),
        ("[hours]\nup = []", r"hours: up: expected at least one part of the day, got none"),
        ("[hours]", r"hours: up: expected a value, got nothing; add up = \[\"06:30-22:00\"\]"),
        ("[power]\nload = '13 W'", r"power: battery: expected a value, got nothing; add battery"),
        ("[power]\nload = '0 W'\nbattery='1 Wh'", r"power: load: expected more than 0, got '0 W'"),
        ("[[background]]\nname = 'x'", r"background 1: per_day: expected an amount, as 'x' is no"),
        ("[[backlog]]\nname='b'\nitems = 0\nsize='1 MB'", r"backlog 1: items: expected at least"),
        ("[[backlog]]\nname='b'\nitems = 2", r"backlog 1: size: expected a value, got nothing"),
        ("[[backlog]]\nname='b'\nitems=2\nsize='1 MB'\nflow='up'",
         r"backlog 1: flow: expected 'out', 'in' or 'both', got 'up'; meaning: from the server"),
        ("[[backlog]]\nname='b'\nitems=2\nsize='1 MB'\ndeadline='2026-07-31'",
         r"backlog 1: deadline: expected a date, got '2026-07-31'; write 2026-07-31, without"),
        ("[[backlog]]\nname='b'\nitems=2\nsize='1 MB'\ndeadline=2026-07-31T10:00:00Z",
         r"backlog 1: deadline: expected a date, got 2026-07-31T10:00:00\+00:00; write"),
        ("[srevice]\nx = 1", r"srevice: expected one of the tables .*; did you mean 'service'\?"),
        ("[[site.more]]", r"site: more: expected one of the keys name, timezone, got 'more'"),
    ],
)  # fmt: skip
def test_one_thing_wrong_is_told_with_its_place(written, problem):
    text = f"{written}\n{HEAD}" if written.startswith("path =") else f"{HEAD}{written}\n"
    problems = problems_of(text)
    assert len(problems) == 1, problems
    assert re.match(problem, problems[0]), problems[0]


def test_all_problems_come_at_once_in_file_order():
    problems = problems_of(
        """
[[service]]
name = "finds"
kind = "photo-libary"
users = 8
  [[service.task]]
  name = "add a foto"
  size = "3.5"
[[service]]
name = "finds"
kind = "chat"
users = 8
  [[service.task]]
  name = "message"
  target = "10 ms"
[path]
entry = "relay"
relay_rtt = "18 ms"
body_limit = "0 B"
[site]
name = "dig"
timezone = "Europe/Lisbonne"
[hours]
up = ["06:30-06:30"]
[power]
battery = "640 Wh"
load = "13 W"
[plan]
cap = "0 GB"
"""
    )
    starts = [
        "service 1: task 1: size: expected",
        "service 1: kind: expected one of",
        "service 2: name: expected a name of its own, got 'finds' as in service 1",
        "service 2: task 1: target: expected at least the relay's round trip of 18 ms, got 10 ms",
        "path: body_limit: expected more than 0",
        "site: timezone: expected a known time zone, got 'Europe/Lisbonne'",
        "hours: up 1: expected a start apart from the end",
        "power: expected [hours] or [power], got both",
        "plan: cap: expected more than 0",
    ]
    assert sorted(problems) == sorted(
        p for p in problems if any(p.startswith(start) for start in starts)
    ), problems
    assert len(problems) == len(starts)
    sections = list(dict.fromkeys(p.split(":")[0] for p in problems))
    assert sections == ["service 1", "service 2", "path", "site", "hours", "power", "plan"]


def test_the_error_names_the_file_before_each_problem():
    with pytest.raises(
        ConfigError, match=r"(?s)dig\.toml: plan: cap: .*\ndig\.toml: plan: cycle_day"
    ):
        parse_site(f"{HEAD}[plan]\ncap = '0 B'\ncycle_day = 0\n", source="dig.toml")


def test_background_is_changed_by_name_and_added_to():
    site = parse_site(
        f"""{HEAD}[path]
entry = "relay"
keepalive = "60 s"
[[background]]
name = "name look-ups"
optional = true
[[background]]
name = "laptops fetching updates"
per_month = "6 GB"
flow = "in"
[[background]]
name = "time sync"
per_day = "0 B"
"""
    )
    causes = {cause.name: cause for cause in site.background}
    assert causes["tunnel keepalive"].bytes_per_day == pytest.approx(86400 / 60 * 60)
    assert causes["name look-ups"].bytes_per_day == 1.5e6
    assert causes["name look-ups"].optional  # by default it is not
    assert causes["time sync"].bytes_per_day == 0
    assert causes["laptops fetching updates"] == Background(
        name="laptops fetching updates", bytes_per_day=2e8, flow="in", optional=True
    )


def test_a_backlog_of_photos_takes_its_size_from_the_picture():
    text = f"{HEAD}[[backlog]]\nname='b'\nitems=3\nphoto={{edge=1440}}\nwindow='22:00-06:00'\n"
    (backlog,) = parse_site(text).backlogs
    assert backlog.image == Image(edge_px=1440)
    assert backlog.size == photo_size(Image(edge_px=1440))
    assert backlog.window == (DayWindow(start_h=22, end_h=6),)
    assert backlog.window[0].length_h == 8
