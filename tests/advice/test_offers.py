"""Offers: of what may not be bought, the weakest that would do."""

import pytest

from linkfit.advice.change import Change, Cost
from linkfit.advice.edits import Edit
from linkfit.advice.measures import Measure
from linkfit.advice.offers import does, offers, serves
from linkfit.advice.supply_changes import PLAN_SETTING, POWER_SETTING
from linkfit.advice.tried import Outcome


def measure(key, margin, value=120e9):
    return Measure(key=key, text=key, service="", unit="bytes", value=value, target_value=60e9,
                   margin=margin)  # fmt: skip


def change(gb, setting=PLAN_SETTING):
    field, editor = ("cap_bytes", "plan") if setting == PLAN_SETTING else ("panel_w", "power")
    return Change(what=setting, service="", setting=setting, before_text="60 GB",
                  after_text=f"{gb} GB", cost_text="more", cost=Cost(month_cost=None),
                  edits=(Edit(editor=editor, field=field, value=gb * 1e9),))  # fmt: skip


def outcome(changes, *measures):
    return Outcome(changes=changes, evaluation=None, measures=measures)


@pytest.mark.parametrize(
    ("setting", "key", "expected"),
    [
        (PLAN_SETTING, "data plan", True), (PLAN_SETTING, "backlog heap", False),
        (POWER_SETTING, "backlog heap", True), (POWER_SETTING, "data plan", False),
        ("keepalive", "data plan", False), (POWER_SETTING, "task hut: backlog heap", False),
    ],
)  # fmt: skip
def test_what_a_purchase_is_for(setting, key, expected):
    assert serves(setting, measure(key, -1.0)) is expected


def test_plans_too_small_for_what_is_used_are_not_even_evaluated():
    asked = []

    def evaluate(one):
        asked.append(one.after_text)
        enough = one.edits[0].value >= 150e9  # what a cycle keeps for the next counts, too
        return outcome((one,), measure("data plan", 0.1 if enough else -0.1))

    levels = [change(gb) for gb in (80, 100, 130, 150, 200)]
    (found,) = offers(levels, outcome((), measure("data plan", -1.0)), evaluate)
    assert asked == ["130 GB", "150 GB"]
    assert found.changes[0].after_text == "150 GB"
    assert does(found)


def test_the_strongest_stands_for_a_setting_that_does_not_do():
    before = outcome((), measure("backlog heap", -1.0), measure("data plan", -1.0, 900e9))
    levels = [change(1, POWER_SETTING), change(2, POWER_SETTING), change(80), change(100)]
    found = offers(levels, before, lambda one: outcome((one,), *before.measures))
    assert [one.changes[0].after_text for one in found] == ["2 GB", "100 GB"]
    assert not any(does(one) for one in found)


def test_nothing_is_offered_for_targets_that_are_met():
    before = outcome((), measure("data plan", 0.2), measure("task hut: view", -3.0))
    assert offers([change(80)], before, lambda one: pytest.fail("evaluated")) == ()
