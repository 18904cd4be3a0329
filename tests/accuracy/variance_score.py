"""How much averages over 1 s to 30 min vary: futures of the fitted link against its record.

Windows of the record are cut by its clock. Where some seconds of one were not measured, the
futures are averaged over the same seconds, so that both are spreads of the same thing.
"""

import numpy as np
from measured_links import clocked_s
from score_rows import Row

import linkfit as lf

TABLE = "Spread of averages, in futures over in the record"
WINDOWS_S = (1, 10, 60, 300, 1800)
LEAST_WINDOWS = 10  # fewer say too little of a spread: 10 give it within a third or so
LEAST_S = 600  # a record this long
BAR = {"bar_low": 0.75, "bar_high": 1.35}
LEAST_SECONDS = 5  # measured in a window
N_BOOTSTRAP = 200
N_EACH = 20  # futures a window


def cut(runs, window_s):
    """Mean of each window of the record's clock, and where in it seconds were measured."""
    time_s = clocked_s(runs)
    time_s = np.round(time_s - time_s.min()).astype(np.int64)
    _, where, n = np.unique(time_s // window_s, return_inverse=True, return_counts=True)
    means = np.bincount(where, weights=runs.rates_bps) / n
    seconds = np.split(time_s % window_s, np.cumsum(n)[:-1])
    keep = np.flatnonzero(n >= min(window_s, LEAST_SECONDS))
    return means[keep], [seconds[i] for i in keep]


def spread_of_futures_bps(rates_bps, seconds, window_s, rng):
    """Of averages over the same seconds of windows of random futures. [bit/s]"""
    found = []
    n_draws, n_steps = rates_bps.shape
    for mine in seconds:
        rows = rng.integers(n_draws, size=N_EACH)
        start = rng.integers(n_steps // window_s, size=N_EACH) * window_s
        found.append(rates_bps[rows[:, None], start[:, None] + mine].mean(axis=1))
    return float(np.concatenate(found).std())


def rows(links, *, n_draws=1500):
    """One row a long link and window, with the interval of the record's own spread."""
    table = []
    for link in links:
        if link.runs.rates_bps.size < LEAST_S:
            continue
        fitted = lf.fit_link(link.trace, seed=0)
        rng = np.random.default_rng(1)
        paths = fitted.paths(
            link.direction, horizon_s=WINDOWS_S[-1], n_draws=n_draws, n_worlds=50, rng=rng
        )
        for window_s in WINDOWS_S:
            means, seconds = cut(link.runs, window_s)
            if means.size < LEAST_WINDOWS:
                continue
            futures = spread_of_futures_bps(paths.rates_bps, seconds, window_s, rng)
            ratio = futures / means.std(ddof=1)
            low, high = futures / _interval(means)[::-1]
            table.append(
                Row(TABLE, f"{link.name}, {window_s} s", "standard deviation", ratio, means.size,
                    float(low), float(high), **BAR)
            )  # fmt: skip
    return table


def _interval(means):
    """90 % interval of the record's spread, by blocks of neighbouring windows."""
    rng = np.random.default_rng(2)
    length = max(means.size // 10, 1)
    found = []
    for _ in range(N_BOOTSTRAP):
        starts = rng.integers(means.size, size=-(-means.size // length))
        rows = ((starts[:, None] + np.arange(length)).ravel() % means.size)[: means.size]
        found.append(means[rows].std(ddof=1))
    return np.quantile(found, (0.05, 0.95))
