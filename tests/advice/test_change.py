"""Costs on one scale, and sets of changes as one site."""

import pytest

from linkfit.advice.change import Change, Cost, apply_all
from linkfit.advice.changes import candidate_changes
from linkfit.advice.edits import Edit
from linkfit.errors import InputError


def test_points_add_the_three_parts_of_a_cost():
    cost = Cost(quality_loss_frac=0.2, effort_h=1.5, money_cost=5.0)
    assert cost.points == pytest.approx(2.0 + 1.5 + 0.5)
    assert Cost().points == 0


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"quality_loss_frac": 1.2}, r"quality_loss_frac: expected a number from 0 to 1, got 1.2"),
        ({"effort_h": -1.0}, r"effort_h: expected .* got -1"),
        ({"money_cost": float("inf")}, r"money_cost: expected .* got inf"),
    ],
)
def test_an_impossible_cost_is_refused(values, message):
    with pytest.raises(InputError, match=message):
        Cost(**values)


def change(**values):
    defaults = {
        "what": "keepalive", "service": "", "setting": "keepalive", "before_text": "15 s",
        "after_text": "25 s", "cost_text": "none", "cost": Cost(),
        "edits": (Edit(editor="keepalive", value=25.0),),
    }  # fmt: skip
    return Change(**(defaults | values))


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"edits": ()}, r"edits: expected at least one, got none"),
        ({"strength_frac": 0.0}, r"strength_frac: expected a number in \(0, 1\], got 0"),
    ],
)
def test_a_change_without_effect_is_refused(values, message):
    with pytest.raises(InputError, match=message):
        change(**values)


def test_a_set_makes_one_site_in_whatever_order_it_is_given(camp, rates):
    by_setting = {c.setting: c for c in candidate_changes(camp, rates)}
    chosen = tuple(by_setting.values())
    assert len(chosen) > 20
    assert apply_all(camp, chosen) == apply_all(camp, chosen[::-1])
