"""What caches would have answered of a log, each against a cache that is run step by step."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.caching import lifetime_hit_frac, lru_hit_frac
from linkfit.forecast.request_reuse import (
    lifetime_hits,
    log_hits,
    lru_formula_frac,
    lru_hits,
    reuse_distances,
    reuse_times_s,
)
from linkfit.ingest.access_log import AccessLog
from tests.forecast.popularity import zipf_popularity


def a_log(times_s, objects, clients=None, sizes=None):
    n = len(times_s)
    return AccessLog(
        times_s=np.asarray(times_s, float), object_index=np.asarray(objects, np.int64),
        client_index=np.zeros(n, np.int64) if clients is None else np.asarray(clients, np.int64),
        sizes_bytes=np.ones(n) if sizes is None else np.asarray(sizes, float)[np.asarray(objects)],
        n_lines=n, n_unread=0, n_others=0,
    )  # fmt: skip


@st.composite
def logs(draw):
    n = draw(st.integers(2, 40))
    gaps = draw(st.lists(st.integers(0, 5), min_size=n, max_size=n))
    objects = draw(st.lists(st.integers(0, 5), min_size=n, max_size=n))
    clients = draw(st.lists(st.integers(0, 2), min_size=n, max_size=n))
    _, objects = np.unique(objects, return_inverse=True)
    return a_log(np.cumsum(gaps) - gaps[0], objects, clients, np.arange(1, 7))


def current_age_s(*, age_s, date_s, request_s, response_s, now_s):
    """RFC 9111 section 4.2.3: how old a stored response is, by its fields and the cache's clock."""
    apparent_s = max(0.0, response_s - date_s)
    corrected_s = age_s + (response_s - request_s)
    return max(apparent_s, corrected_s) + (now_s - response_s)


def test_the_age_of_a_copy_by_hand():
    # RFC 9111 section 4.2.3: apparent 4, corrected 3 + 2 = 5, and 46 since it came; a clock that
    # runs ahead makes no copy younger than its Age field
    assert current_age_s(age_s=3, date_s=100, request_s=102, response_s=104, now_s=150) == 51
    assert current_age_s(age_s=3, date_s=500, request_s=102, response_s=104, now_s=104) == 5


def fetched_by_the_rules(log, lifetime_s, shared):
    """Each request by RFC 9111: a copy answers while its current age is below the lifetime."""
    came, hits = {}, []
    for time_s, item, client in zip(log.times_s, log.object_index, log.client_index, strict=True):
        key = (item, None if shared else client)
        # section 4.2: fresh while the lifetime is larger than the age
        fresh = key in came and lifetime_s > current_age_s(
            age_s=0, date_s=came[key], request_s=came[key], response_s=came[key], now_s=time_s
        )
        if not fresh:
            came[key] = time_s
        hits.append(fresh)
    return hits


@given(logs(), st.integers(0, 12), st.booleans())
def test_hits_by_lifetime_are_those_of_a_cache_that_goes_by_the_rfc(log, lifetime_s, shared):
    found = lifetime_hits(log, lifetime_s, "shared" if shared else "browser")
    assert list(found) == fetched_by_the_rules(log, lifetime_s, shared)


@given(logs(), st.integers(1, 7))
def test_a_distance_within_the_room_is_a_hit_of_a_cache_of_equal_objects(log, n_slots):
    """Mattson's inclusion: one pass tells the hits for every size."""
    distances = reuse_distances(log)
    alike = a_log(log.times_s, log.object_index)
    expected = lru_hits(alike, n_slots)
    assert list((distances > 0) & (distances <= n_slots)) == list(expected)


@given(logs(), st.integers(1, 25))
def test_a_cache_holds_no_more_than_its_room(log, room):
    held, hits = [], []
    for item, size in zip(log.object_index, log.sizes_bytes, strict=True):
        hits.append(item in [i for i, _ in held])
        held = [entry for entry in held if entry[0] != item]
        if size <= room:
            held.append((item, size))
        while sum(s for _, s in held) > room:
            held.pop(0)
    assert list(lru_hits(log, room)) == hits


@given(logs())
def test_times_since_the_last_request(log):
    for scope in ("shared", "browser"):
        last, expected = {}, []
        for time_s, item, client in zip(
            log.times_s, log.object_index, log.client_index, strict=True
        ):
            key = (item, client if scope == "browser" else 0)
            expected.append(time_s - last.get(key, -np.inf))
            last[key] = time_s
        assert list(reuse_times_s(log, scope)) == expected


@given(logs(), st.integers(0, 8), st.integers(0, 8))
def test_a_longer_lifetime_and_a_shared_cache_never_fetch_more(log, first_s, second_s):
    short, long = sorted((first_s, second_s))
    for scope in ("shared", "browser"):
        assert lifetime_hits(log, long, scope).sum() >= lifetime_hits(log, short, scope).sum()
    assert lifetime_hits(log, long, "shared").sum() >= lifetime_hits(log, long, "browser").sum()


def poisson_log(rng, n, popularity, span_s=1e6):
    times_s = np.sort(rng.uniform(0, span_s, n))
    return a_log(times_s - times_s[0], rng.choice(popularity.size, n, p=popularity))


def test_a_log_of_poisson_requests_has_the_hits_of_the_formula(rng):
    log = poisson_log(rng, 40_000, np.full(50, 0.02))
    per_s, lifetime_s = 40_000 / 1e6 / 50, 2000.0
    share = lifetime_hits(log, lifetime_s, "shared").mean()
    # standard error by the delta method: sqrt(m) / (1 + m)^2 / sqrt(fetches), m = 1.6; 5 of them
    m = per_s * lifetime_s
    tolerance = 5 * np.sqrt(m) / (1 + m) ** 2 / np.sqrt(40_000 / (1 + m)) + 50 / 40_000
    assert share == pytest.approx(lifetime_hit_frac(per_s, lifetime_s), abs=tolerance)


def test_ches_approximation_against_the_log_played_through_a_cache(rng):
    # Zipf 0.8, 100 objects, room for 40: T about 72.2 requests and hits 0.645 as tested in a
    # public cache simulator; a run of 10^6 requests gave 0.6455
    popularity = zipf_popularity(100, 0.8)
    log = poisson_log(rng, 60_000, popularity)
    played = lru_hits(log, 40.0)[2000:].mean()
    assert lru_hit_frac(popularity, 40) == pytest.approx(0.64541, abs=5e-5)
    assert played == pytest.approx(0.6455, abs=5 * np.sqrt(0.25 / 58_000))
    assert lru_formula_frac(log, 40.0) == pytest.approx(played, abs=0.01)


def test_uniform_requests_hit_as_often_as_the_cache_is_large(rng):
    log = poisson_log(rng, 30_000, np.full(500, 1 / 500))
    # hits C / n by symmetry: 50 of 500
    assert lru_hits(log, 50.0)[3000:].mean() == pytest.approx(0.1, abs=0.01)


def test_the_interval_is_that_of_few_visitors(rng):
    """Eight visitors, half of which always hit: the share 0.5 has a standard error of 0.18."""
    clients = np.repeat(np.arange(8), 10)
    log = a_log(np.arange(80.0), np.zeros(80, int), clients)
    found = log_hits(log, clients % 2 == 0, rng=rng).requests
    low, middle, high = found.quantile((0.05, 0.5, 0.95))
    assert middle == pytest.approx(0.5, abs=0.06)
    assert 0.1 < low < 0.35
    assert 0.65 < high < 0.9


def test_one_visitor_is_drawn_by_days(rng):
    log = a_log(np.arange(10) * 86400.0, np.zeros(10, int))
    found = log_hits(log, np.arange(10) > 4, rng=rng).bytes
    assert np.ptp(found.draws) > 0


def test_another_scope_is_refused():
    with pytest.raises(InputError, match=r"scope: expected"):
        reuse_times_s(a_log([0, 1], [0, 0]), "edge")
