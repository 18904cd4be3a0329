from dataclasses import replace

import numpy as np

from linkfit.advice.compared_links import PairComparison, RateComparison, Standing
from linkfit.forecast.differences import difference_of


def rows(*, real, what="median"):
    ones, others = np.arange(1.0, 4.0), np.arange(2.0, 5.0)
    return (replace(difference_of(what, "bit/s", (2.0, 3.0), ones, others), real=real),)


def pair(*rates):
    return PairComparison(first="a", second="b", rates=rates)


def test_one_real_level_in_any_direction_is_enough():
    up = RateComparison(direction="up", differences=rows(real=False))
    down = RateComparison(direction="down", differences=rows(real=True, what="mean"))
    assert pair(up, down).is_real is True
    assert pair(up).is_real is False


def test_a_tail_alone_is_no_level():
    tail = RateComparison(direction="up", differences=rows(real=True, what="5 %"))
    level = RateComparison(direction="down", differences=rows(real=False))
    assert pair(tail, level).is_real is False


def test_nothing_to_compare_is_neither():
    assert pair(RateComparison(direction="up", why_not="never measured on a")).is_real is None


def test_services_that_fit_are_counted():
    one = Standing(
        name="a",
        month_cost=None,
        evaluation=None,
        verdicts=(("x", "fits"), ("y", "does not fit"), ("z", "fits")),
        prob_best=None,
        rates=(),
        missing=(),
    )
    assert one.n_fit == 2
