"""What a change is said to do."""

import math

import pytest

from linkfit.advice.changes import candidate_changes
from linkfit.advice.measures import Measure
from linkfit.advice.reasons import Gain, format_against, format_value, gains, hindrance, reason


def single(camp, rates, evaluator, setting):
    change = [c for c in candidate_changes(camp, rates) if c.setting == setting][-1]
    before, after = evaluator.evaluate(camp), evaluator.evaluate(change.apply(camp))
    return change, gains(before, after)


def test_a_change_without_effect_has_no_gains(camp, fake_evaluator):
    evaluator = fake_evaluator()
    assert gains(evaluator.evaluate(camp), evaluator.evaluate(camp)) == ()


def test_gains_are_ordered_by_how_far_they_move_and_say_the_direction(camp, rates, fake_evaluator):
    setting = "finds catalogue: view a photo: picture edge"
    _, found = single(camp, rates, fake_evaluator(), setting)
    assert found[0].measure.startswith("finds catalogue, view a photo")
    assert [gain.weight for gain in found] == sorted((g.weight for g in found), reverse=True)
    assert found[0].better
    assert found[0].after < found[0].before
    assert found[0].target_value == 2.0


def test_a_trade_off_shows_both_sides(camp, rates, fake_evaluator):
    """A weekly backup moves less data but each run is longer."""
    setting = "night copies: daily delta: how often"
    _, found = single(camp, rates, fake_evaluator(), setting)
    by_measure = {gain.measure: gain for gain in found}
    assert by_measure["data in a usual cycle"].better
    assert not by_measure["night copies, daily delta: time that 19 of 20 stay within"].better


def test_a_reason_names_setting_before_after_effect_and_cost(camp, rates, fake_evaluator):
    change, found = single(camp, rates, fake_evaluator(), "finds catalogue: add a clip: chunk size")
    text = reason(change, found)
    assert text.startswith("chunk size of add a clip (finds catalogue): whole files -> 15 MB. ")
    assert "not carried -> " in text
    assert text.endswith("Cost: the program must be able to send in pieces.")
    assert "needed together with the others" in reason(change, ())


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(0.25, "s", "250 ms"), (3.5, "days", "3.5 days"), (6e10, "bytes", "60.0 GB"),
     (0.93, "probability", "93 %"), (math.inf, "days", "never")],
)  # fmt: skip
def test_values_carry_their_unit(value, unit, text):
    assert format_value(value, unit) == text


def test_a_hindrance_says_value_and_target():
    def measure(**values):
        return Measure(key="k", text="films: chance to be done by its deadline", service="films",
                       margin=-1.0, **values)  # fmt: skip

    late = measure(unit="probability", value=0.4, target_value=0.95)
    assert hindrance(late).endswith("40 %, wanted 95 % or more")
    slow = measure(unit="s", value=9.0, target_value=4.0)
    assert hindrance(slow).endswith("9.0 s, wanted 4.0 s or less")
    refused = measure(unit="s", value=math.inf, target_value=math.inf)
    assert hindrance(refused).endswith("the path does not carry it")


def test_a_gain_says_before_and_after():
    gain = Gain(measure="view", unit="s", before=3.1, after=1.9, better=True, weight=0.7)
    assert gain.text == "view 3.1 s -> 1.9 s"


@pytest.mark.parametrize(
    ("unit", "better", "weight", "noise"),
    [("s", False, 0.1, True), ("s", False, 0.3, False), ("s", True, 0.1, False),
     ("bytes", False, 0.1, False)],
)  # fmt: skip
def test_only_a_slightly_longer_time_is_noise(unit, better, weight, noise):
    gain = Gain(measure="m", unit=unit, before=1.0, after=1.1, better=better, weight=weight)
    assert gain.within_noise is noise


def test_a_refused_task_is_not_carried():
    gain = Gain(measure="add a clip", unit="s", before=math.inf, after=60.0, better=True,
                weight=10.0, refused_before=True)  # fmt: skip
    assert gain.text == "add a clip not carried -> 60 s"


@pytest.mark.parametrize(
    ("value", "bound", "unit", "expected"),
    [
        (4.03, 4.0, "s", "4.03 s"),
        (4.9, 4.0, "s", "4.9 s"),
        (4.0, 4.0, "s", "4.0 s"),
        (math.inf, 4.0, "s", "never"),
        (0.949, 0.95, "probability", "94.9 %"),
        (60.02e9, 60e9, "bytes", "60.02 GB"),
        (3.01, 3.0, "days", "3.01 days"),
        (4.0 + 1e-12, 4.0, "s", "4.0 s"),  # one number to any reader
    ],
)
def test_a_missed_target_never_prints_like_a_met_one(value, bound, unit, expected):
    assert format_against(value, bound, unit) == expected


def test_a_larger_plan_is_told_by_how_rarely_it_runs_out(camp, rates, fake_evaluator):
    """The data used stays what it is: against another cap the same number says nothing."""
    _, found = single(camp, rates, fake_evaluator(), "data plan")
    assert (found[0].measure, found[0].unit, found[0].better) == (
        "chance that the data plan runs out in a cycle", "probability", True,
    )  # fmt: skip
    assert found[0].before == fake_evaluator().evaluate(camp).data.prob_over_cap
    assert found[0].after < found[0].before
    assert not any(gain.target_value == 60e9 for gain in found)
