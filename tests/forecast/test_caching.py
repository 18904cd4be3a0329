"""Cache hits: the lifetime formula, LRU caches against published values and a simulation."""

from collections import OrderedDict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from linkfit.errors import InputError
from linkfit.forecast.caching import (
    characteristic_time,
    effective_hit_frac,
    lifetime_hit_frac,
    lru_hit_frac,
)
from linkfit.site.model import Cache
from tests.forecast.popularity import zipf_popularity

DAY_S = 86400.0


@pytest.mark.parametrize(
    ("visits_per_day", "lifetime_s", "hit_percent"),
    [
        (0.2, 3600, 1), (0.2, DAY_S, 17), (0.2, 7 * DAY_S, 58), (0.2, 30 * DAY_S, 86),
        (1, 3600, 4), (1, DAY_S, 50), (1, 7 * DAY_S, 88), (1, 30 * DAY_S, 97),
        (5, 3600, 17), (5, DAY_S, 83), (5, 7 * DAY_S, 97), (5, 30 * DAY_S, 99),
    ],
)  # fmt: skip
def test_hits_by_lifetime(visits_per_day, lifetime_s, hit_percent):
    # computed by hand from lT / (1 + lT); whole percent, so half a unit
    found = lifetime_hit_frac(visits_per_day / DAY_S, lifetime_s)
    assert 100 * found == pytest.approx(hit_percent, abs=0.5)


def test_hits_by_lifetime_agree_with_a_simulation(rng):
    requests_per_s, lifetime_s, n = 1 / 100, 250.0, 200_000
    times_s = np.cumsum(rng.exponential(1 / requests_per_s, n)).tolist()
    n_hits, fresh_until_s = 0, 0.0
    for time_s in times_s:
        if time_s < fresh_until_s:
            n_hits += 1
        else:
            fresh_until_s = time_s + lifetime_s
    expected = lifetime_hit_frac(requests_per_s, lifetime_s)
    # a cycle has 1 + N requests, N Poisson with mean 2.5: by the delta method N / (1 + N) over
    # n / 3.5 cycles has the standard error sqrt(2.5) / 3.5^2 / sqrt(n / 3.5); 5 of them
    tolerance = 5 * np.sqrt(2.5) / 3.5**2 / np.sqrt(n / 3.5)
    assert n_hits / n == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("requests_per_s", "lifetime_s", "hit_frac"),
    [(0, 3600, 0), (1, 0, 0), (1, 1, 0.5), (1e9, 1e9, 1)],
)
def test_limits_of_the_lifetime(requests_per_s, lifetime_s, hit_frac):
    assert lifetime_hit_frac(requests_per_s, lifetime_s) == pytest.approx(hit_frac)


def test_bad_values_of_the_lifetime():
    with pytest.raises(InputError, match="lifetime_s: expected a finite number >= 0, got -1"):
        lifetime_hit_frac(1.0, -1.0)
    with pytest.raises(InputError, match=r"requests_per_s: expected .* got nan"):
        lifetime_hit_frac(float("nan"), 1.0)
    with pytest.raises(InputError, match="n_users: expected a whole number >= 0, got -2"):
        effective_hit_frac(Cache(), -2)


def test_private_content_gains_nothing_from_more_visitors():
    private = Cache(scope="browser", lifetime_s=7 * DAY_S, views_per_object_day=0.2)
    assert effective_hit_frac(private, 1) == effective_hit_frac(private, 500)
    assert effective_hit_frac(private, 1) == pytest.approx(1.4 / 2.4)
    none = Cache(scope="none", lifetime_s=7 * DAY_S, views_per_object_day=0.2)
    assert effective_hit_frac(none, 500) == 0


def test_a_shared_cache_hears_all_visitors():
    public = Cache(scope="shared", lifetime_s=DAY_S, views_per_object_day=0.2)
    assert effective_hit_frac(public, 5) == pytest.approx(0.5)
    assert effective_hit_frac(public, 0) == 0


@given(st.floats(0, 100), st.floats(0, 1e7), st.integers(1, 1000))
def test_hits_are_a_share_and_grow_with_the_lifetime(views, lifetime_s, n_users):
    for scope in ("browser", "shared"):
        less = Cache(scope=scope, lifetime_s=lifetime_s, views_per_object_day=views)
        more = Cache(scope=scope, lifetime_s=2 * lifetime_s, views_per_object_day=views)
        assert 0 <= effective_hit_frac(less, n_users) <= effective_hit_frac(more, n_users) < 1


def test_che_against_the_published_check_of_a_cache_simulator():
    # icarus simulator, tools/tests/test_cacheperf.py: Zipf 0.8, 100 objects, cache of 40:
    # characteristic time in [72.1, 72.3], hit share in [0.63, 0.66]
    popularity = zipf_popularity(100, 0.8)
    assert 72.1 < characteristic_time(popularity, 40) < 72.3
    assert 0.63 < lru_hit_frac(popularity, 40) < 0.66


@pytest.mark.parametrize(
    ("exponent", "n_slots", "hit_frac"),
    # worked out independently for 10,000 objects (C. Fricker, P. Robert, J. Roberts, ITC-24, 2012,
    # study this approximation; no table of theirs was seen). Web requests have exponents between
    # 0.64 and 0.83: L. Breslau, P. Cao, L. Fan, G. Phillips, S. Shenker, INFOCOM 1999, as quoted
    [(0.64, 1000, 0.2749), (0.8, 1000, 0.4367), (0.8, 100, 0.1566), (0.83, 1000, 0.4718),
     (1.0, 1000, 0.6756)],
)  # fmt: skip
def test_che_for_the_exponents_of_web_requests(exponent, n_slots, hit_frac):
    assert lru_hit_frac(zipf_popularity(10_000, exponent), n_slots) == pytest.approx(
        hit_frac, abs=5e-5
    )


def test_che_lies_near_fagins_discrete_form():
    # the same file: sum(1 - (1 - p)^T) = C has its root in [71.8, 72.0]
    popularity = zipf_popularity(100, 0.8)

    def spare(n_requests):
        return float((1 - (1 - popularity) ** n_requests).sum() - 40)

    fagin = brentq(spare, 1, 1e4)
    assert 71.8 < fagin < 72.0
    assert characteristic_time(popularity, 40) == pytest.approx(fagin, rel=0.01)


@pytest.mark.parametrize(("n_objects", "n_slots"), [(500, 50), (100, 40), (10, 1), (1000, 999)])
def test_uniform_popularity_hits_with_the_share_that_fits(n_objects, n_slots):
    # the same file, 500 objects and 50 slots: 0.10; exact by symmetry
    popularity = zipf_popularity(n_objects, 0.0)
    assert lru_hit_frac(popularity, n_slots) == pytest.approx(n_slots / n_objects)


def test_lru_agrees_with_a_simulated_cache(rng):
    popularity, n, warm_up = zipf_popularity(100, 0.8), 60_000, 2000
    cache, n_hits = OrderedDict(), 0
    for i, wanted in enumerate(rng.choice(100, size=n + warm_up, p=popularity).tolist()):
        if wanted in cache:
            cache.move_to_end(wanted)
            n_hits += i >= warm_up
        else:
            cache[wanted] = None
            if len(cache) > 40:
                cache.popitem(last=False)
    # hits are nearly independent; 5 standard errors, and 0.2 % for the approximation itself
    tolerance = 5 * np.sqrt(0.65 * 0.35 / n) + 0.002
    assert n_hits / n == pytest.approx(lru_hit_frac(popularity, 40), abs=tolerance)


@given(st.integers(2, 200), st.floats(0, 2), st.data())
def test_more_room_and_more_uneven_demand_give_more_hits(n_objects, exponent, data):
    n_slots = data.draw(st.integers(1, n_objects - 1))
    hits = lru_hit_frac(zipf_popularity(n_objects, exponent), n_slots)
    assert n_slots / n_objects - 1e-9 <= hits <= 1
    assert lru_hit_frac(zipf_popularity(n_objects, exponent), n_slots + 1) > hits
    assert lru_hit_frac(zipf_popularity(n_objects, exponent + 0.1), n_slots) >= hits - 1e-9


def test_a_cache_for_everything_misses_nothing():
    assert lru_hit_frac([0.5, 0.5, 0.0], 2) == 1
    with pytest.raises(InputError, match=r"n_slots: expected fewer than the 2 objects .* got 2"):
        characteristic_time([0.5, 0.5, 0.0], 2)


def test_popularity_must_be_probabilities():
    with pytest.raises(InputError, match=r"popularity_frac: expected .* add up to 1, got 1.5"):
        lru_hit_frac([0.5, 1.0], 1)
    with pytest.raises(InputError, match=r"popularity_frac: expected finite .* got -1 at index"):
        lru_hit_frac([2.0, -1.0], 1)
