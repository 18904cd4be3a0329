import math

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.probe.status_exhaustion import exhaustion


def test_even_days_give_the_date_by_arithmetic():
    found = exhaustion(np.full(10, 2e9), used_bytes=10e9, cap_bytes=15e9, left_days=6.5)
    assert found.days == pytest.approx((2.5, 2.5, 2.5))
    assert found.prob == 1.0
    assert found.total_bytes == pytest.approx((23e9, 23e9, 23e9))


def test_within_a_part_of_the_last_day():
    found = exhaustion(np.full(5, 2e9), used_bytes=0.0, cap_bytes=2.5e9, left_days=1.5)
    assert found.days[1] == pytest.approx(1.25)
    assert exhaustion(np.full(5, 2e9), used_bytes=0.0, cap_bytes=3.5e9, left_days=1.5).prob == 0


def test_a_cap_out_of_reach_is_not_in_this_cycle():
    found = exhaustion(np.full(10, 1e9), used_bytes=0.0, cap_bytes=99e9, left_days=30.0)
    assert found.days == (math.inf, math.inf, math.inf)
    assert found.prob == 0.0


def test_a_cap_that_is_used_up_is_used_up_now():
    found = exhaustion(np.full(10, 1e9), used_bytes=60e9, cap_bytes=60e9, left_days=3.0)
    assert found.days == (0.0, 0.0, 0.0)
    assert found.prob == 1.0


def test_days_without_use_never_use_it_up():
    found = exhaustion(np.zeros(10), used_bytes=1.0, cap_bytes=2.0, left_days=20.0)
    assert found.days[0] == math.inf


def test_two_days_are_too_few_and_a_cap_must_be_one():
    assert exhaustion(np.ones(2), used_bytes=0.0, cap_bytes=1.0, left_days=1.0) is None
    with pytest.raises(InputError, match="cap_bytes: expected a finite number > 0, got 0"):
        exhaustion(np.ones(3), used_bytes=0.0, cap_bytes=0.0, left_days=1.0)


def test_same_seed_same_answer_and_the_interval_holds_the_median():
    days = np.random.default_rng(1).gamma(2.0, 1e9, 20)
    one, two = (
        exhaustion(days, used_bytes=5e9, cap_bytes=30e9, left_days=20, seed=3) for _ in range(2)
    )
    assert one == two
    assert one.days[0] < one.days[1] < one.days[2]


@pytest.mark.slow
def test_the_interval_of_the_cycles_use_holds_what_comes():
    rng = np.random.default_rng(2)
    n_cycles, n_held = 400, 0
    for _ in range(n_cycles):
        seen, to_come = rng.gamma(1.5, 1e9, 14), rng.gamma(1.5, 1e9, 16)
        found = exhaustion(seen, used_bytes=0.0, cap_bytes=1e12, left_days=16.0)
        n_held += found.total_bytes[0] <= to_come.sum() <= found.total_bytes[2]
    # 90 % stated; 5 standard errors of a share of 90 % among 400 are 7.5 %
    assert n_held / n_cycles > 0.9 - 0.075
