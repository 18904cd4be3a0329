"""How many requests caches answer, so that they do not cross the link."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from linkfit._checks import count, non_negative, non_negative_array, positive
from linkfit.errors import InputError
from linkfit.site.model import Cache
from linkfit.units import SECONDS_PER_DAY


def lifetime_hit_frac(requests_per_s: float, lifetime_s: float) -> float:
    """Share of requests for one object that a copy of `lifetime_s` answers. [fraction]

    Parameters
    ----------
    requests_per_s : float
        Requests for the object, a Poisson stream, >= 0. [1/s]
    lifetime_s : float
        Freshness lifetime of a copy, >= 0. [s]

    Raises
    ------
    InputError
        If either is negative or not finite.

    Notes
    -----
    A miss fetches a copy; all requests of the next `lifetime_s` are hits, on average
    ``lT`` of them: hits / requests = ``lT / (1 + lT)``. The cache is large enough to keep it.
    """
    expected_hits = non_negative("requests_per_s", requests_per_s) * non_negative(
        "lifetime_s", lifetime_s
    )
    return expected_hits / (1 + expected_hits)


def effective_hit_frac(cache: Cache, n_users: int) -> float:
    """Share of requests for a task's payload that caches keep off the link. [fraction]

    Parameters
    ----------
    cache : Cache
        Who may keep the payload, for how long, and how often one visitor asks for one object.
    n_users : int
        Visitors of the service, >= 0.

    Notes
    -----
    A browser answers only its own visitor, so that more visitors gain nothing; content that is
    private (scope "browser" or "none") has no shared gain at all. A shared cache hears the
    requests of all visitors.
    """
    n_visitors = count("n_users", n_users, least=0)
    if cache.scope == "none" or n_visitors == 0:
        return 0.0
    n_sharing = n_visitors if cache.scope == "shared" else 1
    requests_per_s = cache.views_per_object_day * n_sharing / SECONDS_PER_DAY
    return lifetime_hit_frac(requests_per_s, cache.lifetime_s)


def characteristic_time(popularity_frac: ArrayLike, n_slots: int) -> float:
    """How many requests of any kind an unused object survives in a full LRU cache. [requests]

    Parameters
    ----------
    popularity_frac : array, shape (k,)
        Probability that a request is for object `k`; adds up to 1.
    n_slots : int
        Objects that the cache holds, fewer than those of positive popularity.

    Notes
    -----
    Root of ``sum(1 - exp(-p T)) = n_slots``; the sum grows with T, so the root is unique. The
    time is in requests: divide by the rate of requests for seconds.

    Source
    ------
    Che's approximation: H. Che, Y. Tung, Z. Wang, IEEE JSAC 20(7), 2002 (formula as tested in a
    public cache simulator; the paper was not read).
    """
    shares = _popularity(popularity_frac)
    slots = count("n_slots", n_slots)
    if slots >= np.count_nonzero(shares):
        raise InputError(
            f"n_slots: expected fewer than the {np.count_nonzero(shares)} objects that are asked "
            f"for, got {slots}; a cache that holds them all evicts nothing"
        )

    def spare(x: float) -> float:
        return float(-np.expm1(-shares * np.exp(x)).sum() - slots)

    smallest = shares[shares > 0].min()
    # beyond 40 / p_min every object is in, before n_slots requests the cache is not yet full
    low, high = np.log(slots / 2), np.log(40 / smallest)
    return float(np.exp(brentq(spare, low, high, xtol=1e-13, rtol=1e-13)))


def lru_hit_frac(popularity_frac: ArrayLike, n_slots: int) -> float:
    """Share of requests that an LRU cache of `n_slots` equal objects answers. [fraction]

    Notes
    -----
    ``sum(p (1 - exp(-p T)))`` with T from `characteristic_time`. A cache that can hold every
    object answers all requests but the first of each: 1.
    """
    shares = _popularity(popularity_frac)
    if count("n_slots", n_slots) >= np.count_nonzero(shares):
        return 1.0
    n_requests = characteristic_time(shares, n_slots)
    return float(-(shares * np.expm1(-shares * n_requests)).sum())


def _popularity(popularity_frac: ArrayLike) -> NDArray[np.float64]:
    shares = non_negative_array("popularity_frac", popularity_frac)
    total = float(shares.sum())
    if shares.ndim != 1 or abs(positive("popularity_frac", total) - 1) > 1e-9:
        raise InputError(
            f"popularity_frac: expected one row of probabilities that add up to 1, got {total:g}"
        )
    return shares
