"""Tables that contradict each other, and near misses that do not."""

import pytest

from linkfit.errors import ConfigError
from linkfit.site.file import parse_site

HEAD = "[site]\nname = 'dig'\n"
CHAT = "[[service]]\nname='a'\nkind='chat'\nusers=2\n"
RELAY = "[path]\nentry='relay'\nrelay_rtt='50 ms'\n"
BACKLOG = "[[backlog]]\nname='b'\nitems=2\nsize='1 MB'\n"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("[plan]\nafter_cap = 'stop'", r"plan: after_cap: expected a cap that it follows, got"),
        ("[plan]\ncarry_over = '1 GB'", r"plan: carry_over: expected a cap of which"),
        ("[plan]\nsessions_per_day = 3.0", r"plan: sessions_per_day: expected the step to which"),
        ("[path]\nrelay_rtt = '18 ms'",
         r'path: relay_rtt: expected entry = "relay" beside it, got \'direct\'; set'),
        ("[path]\nmtu = '100 B'", r"path: mtu: expected 576 B to 65535 B, got 100 B; usual"),
        ("[path]\nmtu = '600 B'\ntunnel_overhead = '400 B'",
         r"path: tunnel_overhead: expected at most half of each packet of 600 B, got 400 B"),
        ("[hours]\nup='06:00-22:00'\n[power]\nbattery='1 Wh'\nload='1 W'",
         r"power: expected \[hours\] or \[power\], got both; keep the one that decides"),
        ("[hours]\nup=['06:00-10:00', '09:00-12:00']",
         r"hours: up 2: expected windows apart from each other, got 9 h to 12 h over an earlier"),
        ("[hours]\nup=['22:00-06:00', '05:00-07:00']", r"hours: up 2: expected windows apart"),
        ("[hours]\nup='06:00-22:00'\n" + BACKLOG + "window='22:00-06:00'",
         r"backlog 1: window: expected a time at which the server is up, got one outside"),
        ("[hours]\nup='06:00-22:00'\n" + CHAT + "window='23:00-05:00'",
         r"service 1: window: expected a time at which the server is up"),
        (CHAT + CHAT, r"service 2: name: expected a name of its own, got 'a' as in service 1"),
        (BACKLOG + BACKLOG, r"backlog 2: name: expected a name of its own, got 'b' as in"),
        (CHAT + "[[service.task]]\nname='message'\n" * 2,
         r"service 1: task 2: name: expected a name of its own, got 'message' as in task 1"),
        ("[[background]]\nname='x'\nper_day='1 B'\n" * 2,
         r"background 2: name: expected a name of its own, got 'x' as in background 1"),
        ("[[background]]\nname='x'\nper_day='1 B'\nper_month='1 B'",
         r"background 1: per_month: expected per_day or per_month, got both; keep one"),
        (RELAY + CHAT + "[[service.task]]\nname='message'\ntarget='49 ms'",
         r"service 1: task 1: target: expected at least the relay's round trip of 50 ms, got 49"),
        (CHAT + "[[service.task]]\nname='send a picture'\nsize='1 MB'\ntarget='7 s'\n"
         "remote_rate='1 Mbit/s'",
         r"service 1: task 1: target: expected at least the 8.0 s that the far end needs at"),
    ],
)  # fmt: skip
def test_contradictions(text, problem):
    with pytest.raises(ConfigError, match=problem) as caught:
        parse_site(f"{HEAD}{text}\n")
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize(
    "text",
    [
        "[plan]\ncap='1 GB'\nafter_cap='stop'",
        "[plan]\ntether='1 GB'\nafter_cap='stop'\ncarry_over='1 GB'",
        "[plan]\nround_up='1 MB'\nsessions_per_day=3.0",
        "[hours]\nup=['06:00-10:00', '10:00-12:00']",
        "[hours]\nup=['22:00-06:00', '06:00-07:00']",
        "[hours]\nup='06:00-22:00'\n" + BACKLOG + "window='21:59-06:00'",
        BACKLOG + "window='22:00-06:00'",
        RELAY + CHAT + "[[service.task]]\nname='message'\ntarget='50 ms'",
        CHAT + "[[service.task]]\nname='send a picture'\nsize='1 MB'\ntarget='8 s'\n"
        "remote_rate='1 Mbit/s'",
        "[[background]]\nname='time sync'\noptional=true",
    ],
)
def test_near_misses_are_fine(text):
    assert parse_site(f"{HEAD}{text}\n").name == "dig"


def test_a_wrong_value_does_not_make_a_second_problem_of_its_absence():
    text = f"{HEAD}[plan]\ncap='0 GB'\nafter_cap='stop'\n[path]\nentry='relais'\nrelay_rtt='1 ms'\n"
    with pytest.raises(ConfigError, match="cap") as caught:
        parse_site(text)
    assert [p.split(": exp")[0] for p in caught.value.problems] == ["plan: cap", "path: entry"]
