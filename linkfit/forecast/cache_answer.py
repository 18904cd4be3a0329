"""Everything that is said about caches of a site, in one value."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.request_reuse import (
    log_hits,
    lru_formula_frac,
    lru_hits,
    reuse_distances,
    reuse_times_s,
)
from linkfit.forecast.uplink_saving import (
    CachedTask,
    Saving,
    cached_tasks,
    uplink_bytes_per_day,
    uplink_savings,
)
from linkfit.units import SECONDS_PER_DAY

if TYPE_CHECKING:
    from linkfit.ingest.access_log import AccessLog
    from linkfit.site.model import Site

LIFETIMES_S = (3600.0, SECONDS_PER_DAY, 7 * SECONDS_PER_DAY, 30 * SECONDS_PER_DAY)
MOST_DISTANCES = 200_000  # of the log's last requests: enough for a median, in a second or two


@dataclass(frozen=True, slots=True, kw_only=True)
class CacheSizeHits:
    """A shared cache of one size: what it would have answered, and what the formula says."""

    cache_bytes: float
    hits: Forecast
    formula_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LogSummary:
    """What the log holds: counts, how long, and how soon the same is asked for again.

    `again_frac` is the share of requests for what was asked for before, by any visitor and by
    the same one; `median_gap_s` the median time since then (None without any);
    `median_distance` the different objects asked for meanwhile.
    """

    n_lines: int
    n_unread: int
    n_others: int
    n_requests: int
    n_objects: int
    n_clients: int
    span_s: float
    again_frac: float
    again_by_same_frac: float
    median_gap_s: float | None
    median_distance: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CacheAnswer:
    """Savings by lifetime and as the site is, hits by cache size, tasks, what the log holds.

    `uplink_bytes_per_day` is what would go up in a day without any cache.
    """

    tasks: tuple[CachedTask, ...]
    savings: tuple[Saving, ...]
    present: Saving
    uplink_bytes_per_day: float
    cache_sizes: tuple[CacheSizeHits, ...]
    log: LogSummary | None


def answer_caching(
    site: "Site",
    *,
    more_lifetimes_s: Sequence[float] = (),
    cache_sizes: Sequence[float] = (),
    log: "AccessLog | None" = None,
    seed: int = 0,
) -> CacheAnswer:
    """What caches save on the uplink of `site`.

    Parameters
    ----------
    more_lifetimes_s : sequence of float
        Besides an hour, a day, a week and a month. [s]
    cache_sizes : sequence of float
        Of a shared cache; need `log`. [bytes]
    log : AccessLog, optional
        The site's own requests.
    """
    lifetimes = sorted({*LIFETIMES_S, *more_lifetimes_s})
    rng = np.random.default_rng(seed)
    present, *savings = uplink_savings(site, [None, *lifetimes], log=log, rng=rng)
    return CacheAnswer(
        tasks=cached_tasks(site),
        savings=tuple(savings),
        present=present,
        uplink_bytes_per_day=uplink_bytes_per_day(site),
        cache_sizes=() if log is None else _sized(log, cache_sizes, seed),
        log=None if log is None else summarise(log),
    )


def _sized(log: "AccessLog", cache_sizes: Sequence[float], seed: int) -> tuple[CacheSizeHits, ...]:
    found = []
    for size_bytes in sorted(set(cache_sizes)):
        hits = log_hits(log, lru_hits(log, size_bytes), rng=np.random.default_rng(seed))
        formula = lru_formula_frac(log, size_bytes)
        found.append(
            CacheSizeHits(cache_bytes=size_bytes, hits=hits.requests, formula_frac=formula)
        )
    return tuple(found)


def summarise(log: "AccessLog") -> LogSummary:
    """Counts of `log`, and how soon its objects are asked for again."""
    shared, own = reuse_times_s(log, "shared"), reuse_times_s(log, "browser")
    again = np.isfinite(shared)
    distances = reuse_distances(log)[-MOST_DISTANCES:]
    return LogSummary(
        n_lines=log.n_lines,
        n_unread=log.n_unread,
        n_others=log.n_others,
        n_requests=log.n_requests,
        n_objects=log.n_objects,
        n_clients=int(log.client_index.max()) + 1,
        span_s=log.span_s,
        again_frac=float(again.mean()),
        again_by_same_frac=float(np.isfinite(own).mean()),
        median_gap_s=float(np.median(shared[again])) if again.any() else None,
        median_distance=int(np.median(distances[distances > 0])) if distances.any() else None,
    )
