"""Whole histories of sharing, from an idle link on: what single runs are held against."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linkfit.errors import InputError
from linkfit.forecast.sharing import BUSY_S, FlowClass, SharingResult, leave_clock, spread_rows
from tests.forecast.stepwise_caps import capped_finish_s

WARM_FACTOR = 3.0  # times the mean remaining busy period; the tests compare with M/G/1-PS


def share_capacity(
    paths,
    starts_s: ArrayLike,
    bits: ArrayLike,
    *,
    draws: ArrayLike = 0,
    group_index: ArrayLike | None = None,
    caps_bps: ArrayLike | None = None,
) -> NDArray:
    """Time each transfer takes when all of one group share the capacity equally. [s]"""
    start, size, row = np.broadcast_arrays(
        np.asarray(starts_s, float), np.asarray(bits, float), np.asarray(draws, np.int64)
    )
    if size.size and not (size.min() > 0 and start.min() >= 0 and np.isfinite(size).all()):
        raise InputError(
            "transfers: expected starts >= 0 and finite sizes > 0, "
            f"got a start of {start.min():g} s and a size of {size.min():g} bits"
        )
    group = (
        row
        if group_index is None
        else np.broadcast_to(np.asarray(group_index, np.int64), row.shape)
    )
    if caps_bps is not None:
        caps = np.broadcast_to(np.asarray(caps_bps, float), row.shape)
        if (caps < float(paths.rates_bps.max())).any():
            return capped_finish_s(paths, start, size, row, group, caps) - start
    clock_bits = paths.carried_bits(start, row)
    order = np.lexsort((start, group))
    finish = np.empty(size.shape)
    finish[order] = leave_clock(clock_bits[order], size[order], group[order])
    # rounding apart, sharing is never faster than being alone
    return (
        np.maximum(paths.time_at_bits_s(finish, row), paths.time_at_bits_s(clock_bits + size, row))
        - start
    )


def warm_up_s(paths, classes: list[FlowClass], busy_s: float = BUSY_S) -> float:
    """Time after which a link that starts idle looks like one that has been shared for long. [s]"""
    mean_rate = paths.mean_rate_bps
    work = sum(c.load_bps for c in classes)
    if not work or not mean_rate:
        return 0.0
    squares = sum(
        c.arrivals_per_s * c.mean_bits**2 * math.exp(math.log(c.spread) ** 2) for c in classes
    )
    slack = 1.0 - work / mean_rate
    if slack <= 0:
        return busy_s
    return min(busy_s, WARM_FACTOR * squares / (2 * work * mean_rate * slack**2))


def _draw_bits(classes: list[FlowClass], index: NDArray, rng: np.random.Generator) -> NDArray:
    """A size for each transfer, from the law of its class."""
    median = np.array([c.median_bits for c in classes])
    sigma = np.log([c.spread for c in classes])
    return median[index] * np.exp(sigma[index] * rng.standard_normal(index.size))


def _caps(classes: list[FlowClass], index: NDArray):
    """Cap of each transfer, None where no class has one."""
    if all(c.cap_bps is None for c in classes):
        return None
    return np.array([math.inf if c.cap_bps is None else c.cap_bps for c in classes])[index]


def simulate_sharing(
    paths,
    classes: list[FlowClass],
    *,
    rng: np.random.Generator,
    n_jobs: int = 4000,
    busy_s: float = BUSY_S,
) -> SharingResult:
    """Transfers of all classes that start by chance (Poisson) and share the link equally."""
    wanted = n_jobs
    rate = np.array([c.arrivals_per_s for c in classes])
    total = float(rate.sum()) if rate.size else 0.0
    if total <= 0:
        raise InputError(f"classes: expected arrivals in at least one, got {total:g} per second")
    warm = warm_up_s(paths, classes, busy_s)
    # at least twice the warm-up is looked at on each row, so that warming is not most of the work
    n_rows = int(np.clip(wanted / total / max(2 * warm, 1e-9), 1, min(paths.n_draws, wanted)))
    rows = spread_rows(paths, n_rows)
    look_s = wanted / total / n_rows
    n_each = rng.poisson(total * (look_s + 2 * warm), n_rows)
    row = np.repeat(rows, n_each)
    since = rng.random(row.size) * (look_s + 2 * warm)
    index = rng.choice(rate.size, row.size, p=rate / total)
    start = np.repeat(rng.random(n_rows) * paths.horizon_s, n_each) + since
    bits = _draw_bits(classes, index, rng)
    time_s = share_capacity(paths, start, bits, draws=row, caps_bps=_caps(classes, index))
    keep = (since >= warm) & (since < warm + look_s)
    index, row, start, bits = index[keep], row[keep], start[keep], bits[keep]
    one_each = np.arange(row.size)
    alone_s = share_capacity(
        paths, start, bits, draws=row, group_index=one_each, caps_bps=_caps(classes, index)
    )
    return SharingResult(
        class_index=index,
        draw=row,
        start_s=start,
        bits=bits,
        time_s=np.maximum(time_s[keep], alone_s),
        alone_s=alone_s,
        free_s=alone_s,
    )
