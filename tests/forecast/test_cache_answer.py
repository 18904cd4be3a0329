"""The whole answer about caches: lifetimes sorted, sizes from the log, the log in numbers."""

import numpy as np
import pytest

from linkfit.forecast.cache_answer import LIFETIMES_S, answer_caching, summarise
from linkfit.ingest.access_log import AccessLog
from linkfit.site.model import Cache, Service, Site, SizeLaw, Task

CACHE = Cache(scope="browser", lifetime_s=3600.0, views_per_object_day=1.0)
TASK = Task(name="grid", flow="out", size=SizeLaw(median_bytes=1e5), cache=CACHE)
SITE = Site(name="hut", services=(Service(name="s", kind="own", n_users=2, tasks=(TASK,)),))
# objects a b a c b a, ten seconds apart, by two visitors in turn
LOG = AccessLog(
    times_s=np.arange(6) * 10.0, object_index=np.array([0, 1, 0, 2, 1, 0]),
    client_index=np.array([0, 1, 0, 1, 0, 1]), sizes_bytes=np.full(6, 100.0),
    n_lines=9, n_unread=2, n_others=1,
)  # fmt: skip


def test_lifetimes_are_sorted_and_each_once():
    answer = answer_caching(SITE, more_lifetimes_s=[7200.0, 3600.0])
    assert [s.lifetime_s for s in answer.savings] == sorted({*LIFETIMES_S, 7200.0})
    assert answer.present.lifetime_s is None
    assert (answer.log, answer.cache_sizes) == (None, ())
    shares = [float(s.saved.quantile(0.5)) for s in answer.savings]
    assert shares == sorted(shares)
    # its own lifetime is the hour
    assert float(answer.present.saved.quantile(0.5)) == pytest.approx(shares[0])


def test_the_same_seed_gives_the_same_answer():
    first, second = (answer_caching(SITE, log=LOG, seed=3).savings[2] for _ in range(2))
    assert np.array_equal(first.saved.draws, second.saved.draws)


def test_the_log_in_numbers_by_hand():
    found = summarise(LOG)
    assert (found.n_lines, found.n_unread, found.n_others) == (9, 2, 1)
    assert (found.n_requests, found.n_objects, found.n_clients) == (6, 3, 2)
    # again: a after 20 s (b between), b after 30 s (a, c), a after 30 s (c, b)
    assert found.again_frac == 0.5
    assert found.again_by_same_frac == pytest.approx(1 / 6)
    assert (found.median_gap_s, found.median_distance) == (30.0, 3)


def test_sizes_of_a_cache_need_the_log_and_grow_with_it():
    answer = answer_caching(SITE, log=LOG, cache_sizes=[300.0, 200.0, 300.0])
    assert [sized.cache_bytes for sized in answer.cache_sizes] == [200.0, 300.0]
    assert answer.cache_sizes[1].formula_frac == 1.0
    assert float(answer.cache_sizes[1].hits.quantile(0.5)) >= float(
        answer.cache_sizes[0].hits.quantile(0.5)
    )


def test_a_log_that_never_asks_twice():
    log = AccessLog(
        times_s=np.arange(3.0), object_index=np.arange(3), client_index=np.zeros(3, np.int64),
        sizes_bytes=np.ones(3), n_lines=3, n_unread=0, n_others=0,
    )  # fmt: skip
    found = summarise(log)
    assert (found.again_frac, found.median_gap_s, found.median_distance) == (0, None, None)
