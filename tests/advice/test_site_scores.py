import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.advice.site_scores import SAME, chances_of_best, pair_chances, world_shortfalls
from linkfit.forecast.evaluation import Evaluator
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.file import parse_site

SITE = """
[site]
name = "s"
[[service]]
name = "chat"
kind = "chat"
users = 3
"""


def scores(up_bps, site=SITE):
    link = fit_link(Trace.from_quick_numbers(up_bps=up_bps, down_bps=2e7, rtt_s=0.05))
    return world_shortfalls(Evaluator(link, n_probes=400).evaluate(parse_site(site)), None)


def test_a_slow_link_misses_by_more_than_a_fast_one():
    slow, fast = scores(1e4), scores(2e7)
    assert slow.shape == fast.shape == (10,)
    assert slow.mean() > 1
    assert fast.mean() < 0.1


def test_pairs_counted_by_hand():
    # gaps second - first: 1-0, 0-0, 1-2, 0-2
    assert pair_chances(np.array([0.0, 2.0]), np.array([1.0, 0.0])) == (0.25, 0.25, 0.5)


def test_a_hair_is_no_reason_to_choose():
    assert pair_chances(np.array([0.0]), np.array([0.5 * SAME])) == (0.0, 1.0, 0.0)


def test_the_best_of_three_and_a_shared_first_place():
    rng = np.random.default_rng(0)
    found = chances_of_best([np.zeros(1), np.zeros(2), np.ones(3)], rng)
    assert found == pytest.approx((0.5, 0.5, 0.0))


@given(st.lists(st.lists(st.floats(0, 10), min_size=1, max_size=5), min_size=2, max_size=4))
def test_chances_add_up_to_one(values):
    arrays = [np.array(one) for one in values]
    assert sum(chances_of_best(arrays, np.random.default_rng(1))) == pytest.approx(1)
    assert sum(pair_chances(arrays[0], arrays[1])) == pytest.approx(1)
