"""What caches would have answered of the requests in a log: by lifetime, and by size."""

from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, one_of, positive
from linkfit.forecast.caching import lru_hit_frac
from linkfit.forecast.draws import Forecast

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.access_log import AccessLog

SCOPES = ("browser", "shared")
N_DRAWS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class LogHits:
    """What one cache would have answered: shares of requests and of bytes, as Forecasts.

    The intervals come from drawing the visitors of the log anew: they say what the log, being
    short, leaves open, not what the future changes.
    """

    requests: Forecast
    bytes: Forecast


def _keys(log: "AccessLog", scope: str) -> "NDArray[np.int64]":
    """One number for each copy: of the object, in a browser of the object and its visitor."""
    if one_of("scope", scope, SCOPES) == "shared":
        return log.object_index
    return np.asarray(log.client_index * log.n_objects + log.object_index)


def reuse_times_s(log: "AccessLog", scope: str) -> "NDArray[np.float64]":
    """Time since the same object was last asked for, shape (n,); inf at the first time. [s]"""
    order, first = _by_key(_keys(log, scope))
    times = log.times_s[order]
    gaps = np.concatenate([[np.inf], np.diff(times)])
    gaps[first] = np.inf
    found = np.empty(times.size)
    found[order] = gaps
    return found


def reuse_distances(log: "AccessLog") -> "NDArray[np.int64]":
    """Different objects asked for since the same one last was, itself included, shape (n,).

    0 stands for the first request of an object. An LRU cache of `c` equal objects answers a
    request if its distance is from 1 to `c`.

    Notes
    -----
    Mattson's stack distance, by counting marks: each object has one mark at its last request,
    and the distance is the number of marks from there on. O(n log n) in a binary indexed tree.

    Source
    ------
    R. L. Mattson, J. Gecsei, D. R. Slutz, I. L. Traiger, IBM Systems Journal 9(2), 1970 (value
    from memory; checked here against a cache that is run).
    """
    n = log.n_requests
    tree = [0] * (n + 1)
    last: dict[int, int] = {}
    found = np.zeros(n, dtype=np.int64)
    n_marks = 0
    for position, item in enumerate(log.object_index.tolist(), start=1):
        before = last.get(item)
        if before is not None:
            found[position - 1] = n_marks - _sum_to(tree, before - 1)
            _add(tree, before, -1)
            n_marks -= 1
        _add(tree, position, 1)
        n_marks += 1
        last[item] = position
    return found


def _add(tree: list[int], position: int, amount: int) -> None:
    while position < len(tree):
        tree[position] += amount
        position += position & -position


def _sum_to(tree: list[int], position: int) -> int:
    total = 0
    while position:
        total += tree[position]
        position -= position & -position
    return total


def lifetime_hits(log: "AccessLog", lifetime_s: float, scope: str) -> "NDArray[np.bool_]":
    """Which requests a copy answers that stays fresh for `lifetime_s` after it was fetched.

    Notes
    -----
    A hit does not make a copy younger, so after each fetch all requests within the lifetime are
    hits and the next one fetches again.
    """
    non_negative("lifetime_s", lifetime_s)
    order, first = _by_key(_keys(log, scope))
    times = log.times_s[order]
    # the end of each key's stretch, and within it the first request that comes too late
    ends = np.append(np.flatnonzero(first)[1:], times.size)
    end_of = np.repeat(ends, np.diff(np.append(np.flatnonzero(first), times.size)))
    spaced = times + 2 * (log.span_s + lifetime_s + 1) * (np.cumsum(first) - 1)
    late = np.minimum(np.searchsorted(spaced, spaced + lifetime_s, side="left"), end_of)
    late = np.maximum(late, np.arange(times.size) + 1)
    missed = np.zeros(times.size, dtype=bool)
    late_list, position = late.tolist(), 0
    while position < times.size:
        missed[position] = True
        position = late_list[position]
    found = np.empty(times.size, dtype=bool)
    found[order] = ~missed
    return found


def lru_hits(log: "AccessLog", cache_bytes: float) -> "NDArray[np.bool_]":
    """Which requests a shared cache of `cache_bytes` answers that drops what was used least lately.

    What is larger than the cache passes by it.
    """
    room = positive("cache_bytes", cache_bytes)
    held: OrderedDict[int, float] = OrderedDict()
    used = 0.0
    found = np.zeros(log.n_requests, dtype=bool)
    sizes = log.sizes_bytes.tolist()
    for position, item in enumerate(log.object_index.tolist()):
        if item in held:
            found[position] = True
            held.move_to_end(item)
        elif sizes[position] <= room:
            held[item] = sizes[position]
            used += sizes[position]
            while used > room:
                used -= held.popitem(last=False)[1]
    return found


def lru_formula_frac(log: "AccessLog", cache_bytes: float) -> float:
    """The same by Che's approximation: the log's popularities, all objects of the mean size."""
    _, counts = np.unique(log.object_index, return_counts=True)
    shares = counts / counts.sum()
    mean_bytes = max(float(shares @ _object_sizes(log)), 1.0)
    n_slots = max(int(positive("cache_bytes", cache_bytes) / mean_bytes), 1)
    return lru_hit_frac(shares, n_slots)


def _object_sizes(log: "AccessLog") -> "NDArray[np.float64]":
    sizes = np.zeros(log.n_objects)
    sizes[log.object_index] = log.sizes_bytes
    return sizes


def log_hits(log: "AccessLog", hits: "NDArray[np.bool_]", *, rng: np.random.Generator) -> LogHits:
    """Shares of requests and bytes that `hits` are, with what a short log leaves open.

    Notes
    -----
    Visitors are drawn anew with weights from a Poisson law of mean 1 (a bootstrap over
    visitors): requests of one visitor hang together, visitors do not. With a single visitor,
    blocks of a day take their place.
    """
    groups = log.client_index
    if groups.max() == 0:
        groups = (log.times_s // 86400.0).astype(np.int64)
    weights = rng.poisson(1.0, size=(N_DRAWS, int(groups.max()) + 1)).astype(float)
    weights[weights.sum(axis=1) == 0] = 1.0
    return LogHits(
        requests=_share(np.ones(log.n_requests), hits, groups, weights),
        bytes=_share(log.sizes_bytes, hits, groups, weights),
    )


def _share(
    values: "NDArray[np.float64]",
    hits: "NDArray[np.bool_]",
    groups: "NDArray[np.int64]",
    weights: "NDArray[np.float64]",
) -> Forecast:
    n_groups = weights.shape[1]
    of_all = weights @ np.bincount(groups, values, n_groups)
    of_hits = weights @ np.bincount(groups, values * hits, n_groups)
    shares = np.divide(of_hits, of_all, out=np.zeros_like(of_hits), where=of_all > 0)
    return Forecast(
        draws=shares, unit="fraction", world=np.arange(shares.size, dtype=np.int32) % 20
    )


def _by_key(keys: "NDArray[np.int64]") -> "tuple[NDArray[np.int64], NDArray[np.bool_]]":
    """Order by key and time, and where each key begins in it."""
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    first = np.concatenate([[True], ordered[1:] != ordered[:-1]])
    return order, first
