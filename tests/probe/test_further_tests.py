import math

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.link.enough_tests import log_sigma, need
from linkfit.link.measured_cells import Cell, Measured
from linkfit.probe.budget import cost_bytes
from linkfit.probe.further_tests import plan_further_tests


def measured(rates_bps=(), *, parts=(0, 1, 2, 3), share=None, direction="up", hours=()):
    cells = tuple(
        Cell(day=f"day {i // len(parts)}", part=parts[i % len(parts)], rate_bps=rate, n_tests=2)
        for i, rate in enumerate(rates_bps)
    )
    n_by_hour = tuple(int(hour in hours) for hour in range(24))
    return Measured(direction=direction, cells=cells, n_by_hour=n_by_hour,
                    single_share_frac=share, n_outages=0)  # fmt: skip


def test_with_nothing_measured_every_part_of_the_day_gets_its_share():
    plan = plan_further_tests((measured(),), 0.3, guessed_bps={"up": 10e6})
    assert not plan.reached
    assert plan.directions[0].more_p50 == need(np.empty(0), 0.3).p50
    counts = [part.n_more for part in plan.parts]
    assert sum(counts) == plan.directions[0].more_p50
    assert max(counts) - min(counts) <= 1
    assert plan.n_days == max(counts)
    assert [part.at_hours for part in plan.parts] == [(0, 3), (6, 9), (12, 15), (18, 21)]
    assert plan.streams == (1, 4)  # nobody knows yet which of them tells


def test_hours_never_measured_come_first():
    plan = plan_further_tests((measured([6e6] * 4, parts=(1, 2), hours=(7, 12)),), 0.3)
    by_part = [part.n_measured + part.n_more for part in plan.parts]
    assert max(by_part) - min(by_part) <= 1
    assert plan.parts[0].n_more > plan.parts[1].n_more
    assert plan.parts[1].at_hours == (6, 9)
    assert plan.parts[2].at_hours == (13, 15)  # 12 h was measured


def test_the_cost_is_that_of_two_tests_a_cell():
    plan = plan_further_tests((measured(),), 0.3, seconds=4, guessed_bps={"up": 10e6})
    by_hand = [n * 2 * cost_bytes(10e6, 4) for n in (
        plan.directions[0].more_p05, plan.directions[0].more_p50, plan.directions[0].more_p95,
    )]  # fmt: skip
    assert plan.cost_bytes == pytest.approx(by_hand)
    # 28 cells of two 4 s tests at 10 Mbit/s are 0.28 GB of payload, common practice
    assert 28 * 2 * 4 * 10e6 / 8 == 0.28e9


def test_both_directions_share_the_cells():
    down = measured(direction="down")
    plan = plan_further_tests(
        (measured([6e6] * 40), down), 0.2, guessed_bps={"up": 1.0, "down": 24e6}
    )
    assert plan.directions[0].reached
    assert not plan.reached
    assert sum(part.n_more for part in plan.parts) == plan.directions[1].more_p50


def test_reached_asks_for_nothing(rng):
    rates = rng.lognormal(math.log(6e6), log_sigma(0.2), 60)
    plan = plan_further_tests((measured(rates),), 0.2)
    assert plan.reached
    assert plan.cost_bytes == (0, 0, 0)
    assert plan.n_days == 0


def test_asking_again_and_again_ends(rng):
    rates = list(rng.lognormal(math.log(6e6), log_sigma(0.5), 2))
    asked = 0
    while not (plan := plan_further_tests((measured(rates),), 0.25)).reached:
        rates += list(rng.lognormal(math.log(6e6), log_sigma(0.5), plan.directions[0].more_p50))
        asked += 1
        assert asked < 20
    assert 20 <= len(rates) <= 90  # 29 by the formula at the true spread


@pytest.mark.parametrize(("share", "streams"), [(0.95, (1, 1)), (0.7, (1, 4)), (None, (1, 4))])
def test_streams_by_what_one_of_them_gets(share, streams):
    plan = plan_further_tests((measured([6e6] * 3, share=share),), 0.2)
    assert plan.streams == streams


@pytest.mark.parametrize(("rtt_s", "seconds"), [(None, 4), (0.05, 4), (0.6, 14)])
def test_a_long_round_trip_asks_for_longer_tests(rtt_s, seconds):
    assert plan_further_tests((measured([6e6]),), 0.2, rtt_s=rtt_s).seconds == seconds


def test_a_budget_tells_how_far_it_gets():
    def ask(budget_bytes):
        return plan_further_tests((measured([6e6] * 3),), 0.1, budget_bytes=budget_bytes)

    small, large = ask(50e6), ask(500e6)
    assert small.budget_cells * 2 * cost_bytes(6e6, 4) <= 50e6
    assert large.budget_width_frac[0] < small.budget_width_frac[0]
    nothing = plan_further_tests((measured(),), 0.1, guessed_bps={"up": 6e6}, budget_bytes=1e3)
    assert nothing.budget_width_frac == (math.inf,)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({}, "up: expected measurements with a time of day or a rate, got none"),
        ({"guessed_bps": {"up": 0}}, "--up: .* got 0"),
        ({"guessed_bps": {"up": 1e6}, "seconds": 1}, "seconds: .* got 1"),
        ({"guessed_bps": {"up": 1e6}, "budget_bytes": 0}, "budget: .* got 0"),
    ],
)
def test_what_cannot_be_is_named(given, says):
    with pytest.raises(InputError, match=says):
        plan_further_tests((measured(),), 0.2, **given)
