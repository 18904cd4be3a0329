"""Targets of an Evaluation, with cases solved by hand."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from linkfit.advice.measures import (
    LARGEST_MARGIN,
    log_margin,
    target_measures,
    total_shortfall,
)
from linkfit.forecast.chances import Chance
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import BacklogForecast, DataForecast, Evaluation
from linkfit.site.model import Backlog, Site, SizeLaw


def forecast(draws, unit):
    draws = np.asarray(draws, float)
    return Forecast(draws=draws, unit=unit, world=np.zeros(draws.size, int))


def evaluation(*, use=(1.0,), cap_bytes=None, prob=None, backlogs=()):
    data = DataForecast(
        cap_bytes=cap_bytes,
        cycle_days=30.0,
        use=forecast(use, "bytes"),
        prob_over_cap=prob,
        runs_out=None,
        ledger=(),
    )
    return Evaluation(
        site=Site(name="hut"), seed=0, services=(), data=data, backlogs=tuple(backlogs)
    )


def backlog(days, *, deadline=None, prob=None, refused=""):
    heap = Backlog(name="films", n_items=3, size=SizeLaw(median_bytes=1e9), deadline=deadline)
    return BacklogForecast(
        backlog=heap,
        days=forecast(days, "days"),
        binding="rate",
        binding_frac={"rate": 1.0},
        by_deadline=None if prob is None else Chance(prob=prob, low_prob=prob, high_prob=prob),
        refused=refused,
    )


@pytest.mark.parametrize(
    ("target", "value", "expected"),
    [(4.0, 2.0, 1.0), (2.0, 4.0, -1.0), (3.0, 3.0, 0.0), (1.0, np.inf, -LARGEST_MARGIN),
     (1.0, 0.0, LARGEST_MARGIN), (1.0, 1e9, -LARGEST_MARGIN)],
)  # fmt: skip
def test_margins_count_doublings(target, value, expected):
    assert log_margin(target, value) == pytest.approx(expected)


def test_margins_do_not_depend_on_the_unit_of_size():
    assert log_margin(3.0, 5.0) == pytest.approx(log_margin(3e6, 5e6))


def test_each_promised_task_with_a_target_is_a_measure(camp, fake_evaluator):
    found = {m.key: m for m in target_measures(fake_evaluator().evaluate(camp))}
    assert "task finds catalogue: view a photo" in found
    assert "task field notes: poll for changes" not in found  # may wait
    assert "task server care: system updates" not in found
    assert list(found)[-2:] == ["data plan", "backlog season photos"]
    refused = found["task finds catalogue: add a clip"]
    assert (refused.value, refused.margin, refused.met) == (np.inf, -LARGEST_MARGIN, False)


def test_a_task_is_met_when_its_95th_percentile_is_and_only_then(camp, fake_evaluator):
    judged = fake_evaluator().evaluate(camp)
    by_key = {m.key: m for m in target_measures(judged)}
    tasks = [(s.service.name, t) for s in judged.services for t in s.tasks if t.task.target_s]
    for service, task in tasks:
        if task.task.must_carry:
            assert by_key[f"task {service}: {task.task.name}"].met == task.meets_target


@pytest.mark.parametrize(
    ("use", "prob", "margin", "met"),
    [
        ([5.0] * 96 + [20.0] * 4, 0.04, 0.5, True),  # 95 % point 5 of a cap of 10
        ([5.0] * 90 + [20.0] * 10, 0.10, -1.0, False),  # 95 % point twice the cap
        ([40.0] * 100, 1.0, -3.0, False),  # the chance stands at 1, the margin still tells
    ],
)
def test_the_plan_is_judged_by_the_chance_and_measured_by_the_95_percent_point(
    use, prob, margin, met
):
    (plan,) = target_measures(evaluation(use=use, cap_bytes=10.0, prob=prob))
    assert plan.margin == pytest.approx(margin)
    assert plan.met is met


def test_what_is_carried_over_counts_for_the_plan():
    one = evaluation(use=[12.0] * 100, cap_bytes=10.0, prob=0.0)
    needed = Forecast(draws=np.full(100, 9.0), unit="bytes", world=np.zeros(100, np.int32))
    carried = replace(one, data=replace(one.data, cap_needed=needed))
    (plan,) = target_measures(carried)
    assert (plan.value, plan.met) == (9.0, True)
    assert plan.margin == pytest.approx(0.1)


def test_an_unmetered_plan_is_no_target():
    assert target_measures(evaluation(use=[1e15])) == ()


def test_a_deadline_is_judged_by_its_chance_and_measured_in_days():
    start, deadline = date(2026, 7, 1), date(2026, 7, 10)  # ten days, the last one included
    late = backlog([40.0] * 20, deadline=deadline, prob=0.0)
    (measure,) = target_measures(evaluation(backlogs=[late]), start)
    assert (measure.value, measure.met) == (0.0, False)
    assert measure.margin == pytest.approx(-2.0)
    nearer = backlog([20.0] * 20, deadline=deadline, prob=0.0)
    assert target_measures(evaluation(backlogs=[nearer]), start)[0].margin == pytest.approx(-1.0)
    in_time = backlog([5.0] * 20, deadline=deadline, prob=1.0)
    (measure,) = target_measures(evaluation(backlogs=[in_time]), start)
    assert measure.met
    assert measure.margin == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("days", "met"), [([3.0] * 20, True), ([3.0] * 19 + [np.inf], True), ([np.inf] * 20, False)]
)
def test_a_backlog_without_deadline_must_end_at_some_time(days, met):
    (measure,) = target_measures(evaluation(backlogs=[backlog(days)]))
    assert measure.met is met
    assert "at some time" in measure.text


def test_a_refused_backlog_is_as_far_from_its_target_as_can_be():
    (measure,) = target_measures(evaluation(backlogs=[backlog([1.0], refused="too large")]))
    assert (measure.value, measure.shortfall) == (0.0, LARGEST_MARGIN)


def test_shortfalls_add_and_spare_room_does_not_make_up_for_them(camp, fake_evaluator):
    measures = target_measures(fake_evaluator().evaluate(camp))
    short = [-m.margin for m in measures if m.margin < 0]
    assert len(short) >= 2
    assert total_shortfall(measures) == pytest.approx(sum(short))
    roomy = tuple(replace(m, margin=m.margin + 1 if m.met else m.margin) for m in measures)
    assert total_shortfall(roomy) == pytest.approx(sum(short))


def test_what_nobody_measured_is_in_nobodys_way():
    unknown = replace(backlog([np.inf]), unmeasured="down")
    (measure,) = target_measures(evaluation(backlogs=[unknown]))
    assert not measure.known
    assert measure.met
    assert total_shortfall((measure,)) == 0
