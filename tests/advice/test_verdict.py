"""Verdicts: the four words, and when few measurements leave the answer open."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.advice.verdict import (
    open_directions,
    plan_reason,
    service_stands,
    service_verdict,
    task_stands,
    verdict_reason,
    verdict_sentence,
)
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast, Evaluation, ServiceForecast, TaskForecast
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan


def forecast(world_times_s, target_s=2.0, *, refused="", must_carry=True, name="view"):
    """One task whose time is the same in all draws of a world."""
    task = Task(name=name, flow="out", size=SizeLaw(median_bytes=1e5), target_s=target_s,
                must_carry=must_carry)  # fmt: skip
    draws = np.repeat(np.asarray(world_times_s, float), 4)
    world = np.repeat(np.arange(len(world_times_s)), 4)
    return TaskForecast(
        service="lab",
        task=task,
        time=Forecast(draws=draws, unit="s", world=world),
        prob_within_target=None,
        n_max_users=None,
        refused=refused,
    )


@pytest.mark.parametrize(
    ("worlds", "expected"),
    [
        ([1.0, 1.1, 1.2], "yes"),
        ([3.0, 3.1, 3.2], "no"),
        ([1.9, 2.0, 2.1], "no"),  # a close call is decided, not left open
        ([1.0, 1.0, 1.0, 6.0], "open"),  # some such links are quick, others far too slow
        ([1.0, 6.0, 6.0, 6.0], "open"),
        ([1.4, 1.5, 6.0], "no"),  # no link that fits with room
        ([1.0, 1.5, 2.9], "no"),  # no link that clearly fails: less than 1.5 x the target
        ([1.0, np.inf], "open"),
        ([1.0] * 9 + [9.0], "no"),  # one world in ten is not enough to doubt
    ],
)
def test_open_means_that_measuring_could_turn_the_answer(worlds, expected):
    assert task_stands(forecast(worlds)) == expected


def test_a_refused_task_stands_at_no_and_one_without_target_at_yes():
    assert task_stands(forecast([1.0], refused="too large")) == "no"
    assert task_stands(forecast([1e9], target_s=None)) == "yes"


def data(prob=None):
    return DataForecast(
        cap_bytes=None if prob is None else 1e9,
        cycle_days=30.0,
        use=Forecast(draws=np.ones(1), unit="bytes", world=np.zeros(1)),
        prob_over_cap=prob,
        runs_out=None,
        ledger=(),
    )


def service(*tasks, throttled=None):
    made = Service(name="lab", kind="web-app", n_users=1, tasks=tuple(t.task for t in tasks))
    return ServiceForecast(service=made, tasks=tasks, works_throttled=throttled)


QUICK, SLOW, OPEN = [1.0, 1.0], [9.0, 9.0], [0.5, 9.0]


@pytest.mark.parametrize(
    ("tasks", "expected"),
    [
        ([forecast(QUICK), forecast(QUICK)], "yes"),
        ([forecast(QUICK), forecast(OPEN)], "open"),
        ([forecast(OPEN), forecast(SLOW)], "no"),  # no measurement can save it
        ([forecast(QUICK), forecast(SLOW, must_carry=False)], "yes"),
    ],
)
def test_the_worst_promised_task_decides(tasks, expected):
    assert service_stands(service(*tasks), data()) == expected


@pytest.mark.parametrize(
    ("prob", "throttled", "expected"),
    [(0.04, False, "yes"), (0.06, False, "no"), (0.06, True, "yes"), (0.06, None, "yes")],
)
def test_an_overrun_plan_counts_where_the_throttled_rate_does_not_carry_it(
    prob, throttled, expected
):
    assert service_stands(service(forecast(QUICK), throttled=throttled), data(prob)) == expected


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (QUICK, QUICK, "fits"),
        (SLOW, QUICK, "fits with changes"),
        (OPEN, QUICK, "fits with changes"),
        (OPEN, OPEN, "not enough data"),
        (SLOW, OPEN, "not enough data"),
        (SLOW, SLOW, "does not fit"),
    ],
)
def test_the_four_verdicts(before, after, expected):
    def evaluation(worlds):
        found = service(forecast(worlds))
        site = Site(name="hut", services=(found.service,))
        return Evaluation(site=site, seed=0, services=(found,), data=data(), backlogs=())

    assert service_verdict("lab", evaluation(before), evaluation(after)) == expected


def test_more_measurements_that_agree_close_an_open_answer():
    wide, narrow = forecast([0.5, 1.0, 4.0, 9.0]), forecast([0.9, 1.0, 1.1, 1.2])
    assert task_stands(wide) == "open"
    assert task_stands(narrow) == "yes"
    assert task_stands(replace(narrow, refused="no")) == "no"


def test_a_verdict_has_its_reason():
    found = service(
        forecast(SLOW, name="view"), forecast(OPEN, name="upload"), forecast(QUICK),
        throttled=False,
    )  # fmt: skip
    site = Site(name="hut", services=(found.service,))

    def why(prob):
        return verdict_reason(
            "lab", Evaluation(site=site, seed=0, services=(found,), data=data(prob), backlogs=())
        )

    assert why(0.0) == "misses its target: view; too little measured to tell: upload"
    assert "ends with the data plan" in why(1.0)


def test_what_was_never_measured_leaves_the_service_open():
    known = forecast([1.0] * 5)
    unknown = replace(known, unmeasured="down")
    assert task_stands(unknown) == "open"
    assert service_stands(service(known, unknown), data()) == "open"
    refused = replace(unknown, refused="its requests exceed the path's body limit")
    assert task_stands(refused) == "no"


def evaluated(*tasks, prob=None, throttled=None):
    found = service(*tasks, throttled=throttled)
    site = Site(name="hut", services=(found.service,))
    return Evaluation(site=site, seed=0, services=(found,), data=data(prob), backlogs=())


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (QUICK, QUICK, ""),
        (SLOW, QUICK, "as it is, misses its target: view"),
        (SLOW, SLOW, "with all changes: view takes 9.0 s, target 2.0 s"),
        ([2.03] * 2, [2.004] * 2, "with all changes: view takes 2.004 s, target 2.0 s"),
        (
            SLOW,
            OPEN,
            "with all changes: view may take from 500 ms to 9.0 s (90 % interval on the 95th "
            "percentile), target 2.0 s: too little measured to tell",
        ),
    ],
)
def test_each_verdict_but_fits_has_one_sentence_that_says_why(before, after, expected):
    sites = evaluated(forecast(before)), evaluated(forecast(after))
    assert verdict_sentence("lab", *sites) == expected


def test_a_verdict_left_open_by_the_site_as_it_is_says_so():
    sites = evaluated(forecast(OPEN)), evaluated(forecast(SLOW))
    assert service_verdict("lab", *sites) == "not enough data"
    assert verdict_sentence("lab", *sites).startswith("as it is: view may take from 500 ms")


def test_refusals_unmeasured_directions_and_spent_plans_are_named():
    refused = evaluated(forecast(QUICK, refused="the path carries no calls"))
    assert "view cannot be carried, the path carries no calls" in verdict_sentence(
        "lab", refused, refused
    )
    unknown = evaluated(replace(forecast(QUICK), unmeasured="down"))
    assert "view: link down was never measured" in verdict_sentence("lab", unknown, unknown)
    spent = evaluated(forecast(QUICK), prob=0.5, throttled=False)
    assert verdict_sentence("lab", spent, spent) == "with all changes: ends with the data plan"


def test_only_an_open_verdict_asks_for_a_direction_to_be_measured():
    slow, is_open = evaluated(forecast(SLOW)), evaluated(forecast(OPEN))
    assert open_directions("lab", slow, is_open) == ("up",)
    assert open_directions("lab", slow, slow) == ()
    inward = forecast(OPEN)
    inward = evaluated(replace(inward, task=replace(inward.task, flow="both")))
    assert open_directions("lab", slow, inward) == ("down", "up")
    assert open_directions("lab", is_open, slow) == ("up",)
    unpromised = evaluated(forecast(OPEN), forecast(OPEN, must_carry=False, name="rare"))
    assert open_directions("lab", slow, unpromised) == ("up",)


def test_why_services_end_with_the_plan_is_said_once_for_all_of_them():
    spent, thrifty = (evaluated(forecast(QUICK), prob=prob, throttled=False) for prob in (0.5, 0.0))
    slow = replace(spent, site=replace(spent.site, plan=Plan(cap_bytes=1e9, throttle_bps=512e3)))
    assert plan_reason(thrifty, thrifty) == ""
    assert plan_reason(slow, thrifty) == (
        "ends with the data plan: as it is, the data plan runs out in 50 % of billing cycles, "
        "wanted: 5 % or less; the 512 kbit/s that are left then do not carry the services of "
        "which it is said"
    )
    assert "with all changes, the data plan runs out in 50 %" in plan_reason(slow, slow)
    assert plan_reason(spent, thrifty).endswith("; then nothing passes")
    carried = evaluated(forecast(QUICK), prob=0.5, throttled=True)
    assert plan_reason(carried, carried) == ""
