"""Costs on one scale, and sets of changes as one site."""

from dataclasses import replace

import pytest

from linkfit.advice.change import Change, Cost, apply_all, source_of
from linkfit.advice.changes import candidate_changes
from linkfit.advice.edits import Edit
from linkfit.errors import InputError
from linkfit.site.prices import Prices


def test_points_add_quality_and_work_and_money_only_breaks_ties():
    cost = Cost(quality_loss_frac=0.2, effort_h=1.5)
    assert cost.points == pytest.approx(2.0 + 1.5)
    assert Cost().points == 0
    cheap, dear = (replace(cost, month_cost=money) for money in (5.0, 900.0))
    assert cost.points < cheap.points < dear.points < cost.points + 0.01


@pytest.mark.parametrize(
    ("cost", "prices", "expected"),
    [
        ({}, {}, True),
        ({"month_cost": 8.0}, {}, False),  # nobody said that money may be spent
        ({"month_cost": 8.0}, {"most_month_cost": 8.0}, True),
        ({"month_cost": 8.0}, {"most_month_cost": 7.9}, False),
        ({"month_cost": 8.0}, {"most_once_cost": 99.0}, False),  # once is not each month
        ({"month_cost": None}, {"most_month_cost": 1e9}, False),  # not known is not nothing
        ({"once_cost": 120.0}, {"most_once_cost": 300.0}, True),
        ({"once_cost": None}, {"most_once_cost": 300.0}, False),
        ({"month_cost": 1.0, "once_cost": 5.0}, {"most_month_cost": 1.0}, False),
    ],
)
def test_a_purchase_is_chosen_only_within_what_the_user_said(cost, prices, expected):
    assert Cost(**cost).is_within(Prices(**prices)) is expected
    assert Cost(**cost).buys is bool(cost)


def test_a_source_tells_what_is_known_and_that_the_rest_is_judged():
    assert source_of("RFC 9111") == "RFC 9111; the rest: common practice"


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"quality_loss_frac": 1.2}, r"quality_loss_frac: expected a number from 0 to 1, got 1.2"),
        ({"effort_h": -1.0}, r"effort_h: expected .* got -1"),
        ({"month_cost": float("inf")}, r"month_cost: expected .* got inf"),
        ({"once_cost": -3.0}, r"once_cost: expected .* got -3"),
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
