"""Answers: costs add, quality is that of the service hit hardest, unknown targets do not count."""

import pytest

from linkfit.advice.answers import answer, worst_loss_frac
from linkfit.advice.change import Change, Cost
from linkfit.advice.edits import Edit
from linkfit.advice.measures import Measure
from linkfit.advice.tried import Outcome


def change(service, loss, hours=1.0, money=0.0, level="b"):
    return Change(
        what="w", service=service, setting=f"{service} {loss}", before_text="a", after_text=level,
        cost_text="c", cost=Cost(quality_loss_frac=loss, effort_h=hours, month_cost=money),
        edits=(Edit(editor="keepalive", value=30.0),),
    )  # fmt: skip


def measure(margin, name="grid", known=True):
    return Measure(key=name, text=name, service="s", unit="s", value=4.0, target_value=3.0,
                   margin=margin, known=known)  # fmt: skip


def outcome(changes, measures):
    return Outcome(changes=changes, evaluation=None, measures=measures)


def test_quality_lost_is_that_of_the_service_that_loses_most():
    # 1 - 0.8 * 0.5 = 0.6 in a, 0.5 in b
    assert worst_loss_frac([change("a", 0.2), change("a", 0.5), change("b", 0.5)]) == pytest.approx(
        0.6
    )
    assert worst_loss_frac([]) == 0


def test_costs_add_and_what_is_missed_is_named_the_farthest_first():
    found = answer(
        outcome((change("a", 0.1, 2.0, 5.0), change("b", 0.0, 1.0)),
                (measure(0.2), measure(-0.5, "near"), measure(-2.0, "far"))),
        exhausted=True,
    )  # fmt: skip
    assert (found.n_met, found.n_targets, found.feasible, found.exhausted) == (1, 3, False, True)
    assert (found.effort_h, found.month_cost, found.once_cost) == (3.0, 5.0, 0.0)
    assert found.cost == pytest.approx(0.1 * 10 + 3.0, abs=1e-4)
    assert [text.split(":")[0] for text in found.in_the_way] == ["far", "near"]


def test_money_that_is_not_known_makes_no_sum():
    changes = (change("a", 0.0, money=5.0), change("b", 0.0, money=None))
    assert answer(outcome(changes, ()), exhausted=True).month_cost is None


def test_a_target_that_nothing_measured_can_judge_is_not_counted():
    found = answer(outcome((), (measure(0.5), measure(0.0, known=False))), exhausted=True)
    assert (found.n_met, found.n_targets, found.feasible) == (1, 1, True)
