from datetime import UTC, datetime

import numpy as np
import pytest

from linkfit.advice.compared_links import NamedLink
from linkfit.advice.comparison_rates import compare_rates, record_percentiles
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


def named(name, median_bps, *, seed=0, hour=None, n=900, **words):
    rng = np.random.default_rng(seed)
    start = None if hour is None else datetime(2026, 6, 1, hour, tzinfo=UTC)
    rates = rng.lognormal(np.log(median_bps), 0.4, n)
    trace = Trace.from_rates(rates, direction="up", start=start, layer="ip", **words)
    return NamedLink(name=name, link=fit_link(trace))


def compared(first, second):
    records = tuple(record_percentiles(one, i, 0) for i, one in enumerate((first, second)))
    return compare_rates(first, second, records, np.random.default_rng(0))


def test_thrice_as_fast_is_real_and_needs_no_more_tests():
    found = compared(named("a", 5e6), named("b", 1.5e7, seed=1))
    up, down = found.rates
    assert found.is_real
    assert up.more_tests is None
    assert all(one.value > 0 for one in up.differences)
    assert down.why_not == "never measured on a; never measured on b"


def test_the_same_is_not_and_what_would_tell_is_said():
    found = compared(named("a", 5e6), named("b", 5e6, seed=1))
    assert found.is_real is False
    assert found.rates[0].more_tests.n_tests > 10


def test_lower_bounds_are_not_compared():
    found = compared(named("a", 5e6), named("b", 1.5e7, saturating=False))
    assert found.is_real is None
    assert found.rates[0].why_not == "only lower bounds of b are known"


@pytest.mark.parametrize(("hour", "is_told"), [(3, False), (20, True)])
def test_other_hours_of_the_day_are_told_and_counted(hour, is_told):
    found = compared(named("a", 5e6, hour=3), named("b", 6.2e6, seed=1, hour=hour))
    same = compared(named("a", 5e6, hour=3), named("b", 6.2e6, seed=1, hour=3))
    assert bool(found.cautions) == is_told
    widths = [one.rates[0].differences[1].high - one.rates[0].differences[1].low
              for one in (found, same)]  # fmt: skip
    assert (widths[0] > 1.2 * widths[1]) == is_told


def test_one_seed_one_result():
    first, second = named("a", 5e6), named("b", 6e6, seed=1)
    ones, others = (compared(first, second).rates[0].differences for _ in range(2))
    assert ones == others
