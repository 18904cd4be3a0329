"""What the command says: each number with unit, interval and what it is of."""

import io
from dataclasses import replace
from datetime import datetime

import pytest
from rich.console import Console

from linkfit.forecast.data_answer import answer_data, with_slowed
from linkfit.forecast.used_so_far import CyclePlace
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.data_answer_text import data_answer_text
from linkfit.report.data_json import data_answer_record
from linkfit.site.hours import Hours, Power
from linkfit.site.model import Background, PathLimits, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

FEED = Background(name="feed", bytes_per_day=90e6)
ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=8.0,
           target_s=60.0)  # fmt: skip
FINDS = Service(name="finds", kind="photo-library", n_users=8, tasks=(ADD,))
SITE = Site(name="hut", services=(FINDS,), background=(FEED,),
            plan=Plan(cap_bytes=8e9, cycle_day=5),
            path=PathLimits(same_link_share_frac=0.3))  # fmt: skip
PLACE = CyclePlace.at(datetime(2026, 6, 14, 12), 5)


def shown(site=SITE, width=80, link=None, rates=(), **options):
    answer = answer_data(site, **options)
    if link is not None:
        answer = with_slowed(answer, link, rates)
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in data_answer_text(data_answer_record(answer)):
        console.print(part)
    return out.getvalue()


def words(text):
    return " ".join(text.split())


@pytest.mark.parametrize("width", [80, 40])
def test_the_whole_screen_fits_and_names_every_answer(width):
    text = shown(width=width, place=PLACE, used_bytes=3e9, task="add")
    assert max(map(len, text.splitlines())) <= width
    for part in (
        "hut: data of one billing cycle, both directions counted",
        "used so far: 3.00 GB in the first 9.5 of 30 days (since 2026-06-05)",
        "the cap is 8.00 GB; chance to want more:",
        "if your carrier counts 1 GB as 2^30 bytes (1 GiB), it is 8.59 GB",
        "runs out: on 2026-06-",
        "nobody asked for",
        "a local name, so that clients on the same link do not go out and back: saves",
        "switch off feed: saves",
        "is enough in 19 of 20 cycles",
        ", a usual size: chance to want more than that ",
        "besides all the rest:",
        "the site file has it 64 times a day",
    ):
        assert part in words(text), part


def test_what_happens_after_the_cap_is_told():
    def lines(**plan):
        return words(shown(replace(SITE, plan=Plan(cap_bytes=4e9, **plan))))

    assert "carried, the plan stopping at its cap: 4.00 GB" in lines()
    assert "after the cap at no more than 64.0 Mbit/s" in lines(throttle_bps=64e6)
    slow = lines(throttle_bps=1e3)
    assert "carried, the link slowed to 1.00 kbit/s after the cap: at most 4." in slow
    priced = lines(price_per_gb=3.0)
    assert "costs above the cap: " in priced
    assert "carried" not in priced
    assert "what a hotspot may use of the plan is 3.00 GB" in lines(tether_bytes=3e9)
    assert "unused data, at most 2.00 GB of it, joins the next cycle" in lines(carry_over_bytes=2e9)


def test_dates_need_a_day_and_a_spent_cap_is_said():
    assert "into the cycle; dates: --on DAY" in words(shown())
    slowed = replace(SITE, plan=Plan(cap_bytes=4e9, throttle_bps=1e5, cycle_day=5))
    assert "the cap is used up already" in shown(slowed, place=PLACE, used_bytes=5e9)
    wide = replace(SITE, plan=Plan(cap_bytes=4e12))
    assert "runs out: not in this cycle, 19 times out of 20" in shown(wide, place=PLACE)
    assert "the plan has no cap" in shown(replace(SITE, plan=Plan()))


def test_a_full_plan_leaves_a_task_nothing():
    full = replace(SITE, plan=Plan(cap_bytes=1e8))
    busy = replace(full, background=(replace(FEED, bytes_per_day=9e9),))
    assert "not once, the plan runs out anyway" in shown(busy, task="add")


def test_what_works_when_slowed_down():
    link = fit_link(Trace.from_quick_numbers(down_bps=20e6, up_bps=9e6, rtt_s=0.05))
    small = Task(name="message", flow="in", size=SizeLaw(median_bytes=2e3), target_s=5.0)
    rare = replace(ADD, per_user_day=0.1)
    site = replace(SITE, services=(replace(FINDS, tasks=(small, rare)),))
    text = words(shown(site, link=link, rates=(128e3,)))
    assert "Slowed to 128 kbit/s each way" in text
    assert "1 of 2 tasks" in text
    assert "add, in: " in text
    assert "; target 60 s" in text


def test_what_was_asked_stands_above_the_ledger():
    text = shown(place=PLACE, used_bytes=3e9, task="add")
    titles = ("How often,", "hut: data of", "Which plan", "What can go", "What spends it, in")
    places = [text.index(title) for title in titles]
    assert places == sorted(places)


def test_the_sun_behind_the_hours_is_said():
    sun = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)
    power = Power(battery_wh=200, load_w=30, panel_w=100, sun_hours=3.5, sun_hours_by_month=sun)
    site = replace(SITE, hours=Hours(power=power))
    assert "Hours of power: 7.0 h a day (90 %: 5.2 to 9.4 h), the mean sun" in words(shown(site))
    dated = words(shown(site, place=PLACE))
    assert "Hours of power: 12.0 h a day" in dated
    assert "the sun of 30 days from 2026-06-05 on." in dated
