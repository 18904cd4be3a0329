import math

import numpy as np
import pytest

from linkfit.forecast.telling_apart import LEAST_RATIO, LONGEST_S, measuring_to_tell
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.level import level_spread


def model(mean_bps, seed=0, n=120):
    rng = np.random.default_rng(seed)
    return fit_link(Trace.from_rates(rng.lognormal(np.log(mean_bps), 0.4, n), layer="ip")).up


def test_a_larger_difference_takes_fewer_tests():
    small, large = (measuring_to_tell(model(5e6), model(5e6 * ratio, 1)) for ratio in (1.2, 1.8))
    assert small.n_tests > 3 * large.n_tests


def test_so_many_tests_are_just_enough():
    first, second = model(5e6), model(6.5e6, 1)
    found = measuring_to_tell(first, second)
    length_s = first.measured_s + 10 * found.n_tests
    covs = [float(m.runs.rates_bps.std()) / m.mean_rate_bps for m in (first, second)]
    spreads = [level_spread(length_s, cov) for cov in covs]
    error = math.sqrt(sum(s.unknown_sigma**2 + s.chance_sigma**2 for s in spreads))
    assert 2.8 * error == pytest.approx(math.log(found.ratio), rel=0.05)


def test_data_is_the_rate_times_the_time():
    first, second = model(5e6), model(6.5e6, 1)
    found = measuring_to_tell(first, second)
    assert found.first_bytes == pytest.approx(first.mean_rate_bps * 10 / 8 * found.n_tests)
    assert found.second_bytes > found.first_bytes


def test_links_that_are_alike_are_asked_for_ten_percent():
    assert measuring_to_tell(model(5e6), model(5e6)).ratio == LEAST_RATIO


def test_what_ten_days_cannot_tell_is_said():
    rng = np.random.default_rng(1)
    wild = fit_link(Trace.from_rates(rng.lognormal(15, 2.5, 3000), layer="ip")).up
    found = measuring_to_tell(wild, wild)
    assert found.n_tests is None
    assert (found.first_bytes, found.second_bytes) == (0, 0)
    assert LONGEST_S == 10 * 86400
