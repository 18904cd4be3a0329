"""Backtest on real transfers: each of the rest is predicted from those before, by its own size.

Sizes vary from transfer to transfer. One seed gives forecasts on a grid of sizes whose quantiles
are interpolated in between, so that a thousand sizes cost as much as a few.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import FitError
from linkfit.forecast.backtest_scores import (
    BASELINES,
    BacktestScore,
    SizeScores,
    compared,
    joined,
    summarised,
)
from linkfit.forecast.transfer import predict_transfer
from linkfit.ingest.trace import DIRECTIONS, LatencySamples, ThroughputSamples, Trace
from linkfit.link.fit import fit_link
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.trace import TransferSamples
    from linkfit.link.model import LinkModel

# half decades: 0.1, 0.3, 1, 3, 10 MB ...
CLASS_EDGES_BYTES = tuple(m * 10.0**e for e in range(2, 12) for m in (1, 3))
_LEAST_TRANSFERS = 5  # on either side of the cut
_GRID_FACTOR = 1.5
_MOST_GRID = 25
_AT_ONCE = 200  # transfers whose draws are held together: 3 MB for 2000 draws
_ALIKE = 30  # past transfers of the most similar sizes


def has_transfers_only(trace: Trace, direction: str) -> bool:
    """Are real transfers the only saturating evidence of `direction`?"""
    samples, transfers = trace.throughput, trace.transfers
    is_up = direction == "up"
    measured = bool((samples.saturating & (samples.is_up == is_up)).any())
    return not measured and bool((transfers.is_up == is_up).any())


def transfer_backtest(
    trace: Trace,
    *,
    directions: Sequence[str] = DIRECTIONS,
    train_frac: float = 0.6,
    n_origins: int = 1,
    n_draws: int = 2000,
    seed: int = 0,
) -> BacktestScore:
    """Score forecasts of a trace's own later transfers, by class of size.

    The simple forecasts beside the model's: size over the mean rate of the past transfers (all
    bytes over all time), the time a byte took in past transfers drawn at random, and the same
    from the 30 past transfers of the most similar size.

    Raises
    ------
    FitError
        If no direction has 5 transfers on either side of the cut.
    """
    parts: list[SizeScores] = []
    sizes: list[NDArray[np.float64]] = []
    for one in directions:
        transfers = _in_order(trace, one)
        cuts = (np.linspace(train_frac, 1.0, n_origins + 1) * len(transfers)).astype(int)
        for origin, (cut, end) in enumerate(pairwise(cuts.tolist())):
            if min(cut, end - cut) < _LEAST_TRANSFERS:
                continue
            past, rest = transfers.take(np.arange(cut)), transfers.take(np.arange(cut, end))
            rng = np.random.default_rng([seed, origin, one == "up"])
            link = fit_link(_past_trace(trace, past, rest), seed=int(rng.integers(2**31)))
            parts += scored_transfers(link, past, rest, one, n_draws=n_draws, rng=rng)
            sizes.append(np.sort(rest.size_bytes))
    if not parts:
        raise FitError(
            f"trace: expected {_LEAST_TRANSFERS} transfers before and after the cut at "
            f"{train_frac:g}, got fewer in every direction; record more or move train_frac"
        )
    return by_class(parts, np.concatenate(sizes))


def by_class(parts: Sequence[SizeScores], sizes_bytes: "NDArray[np.float64]") -> BacktestScore:
    """Parts of equal class pooled; `sizes_bytes` are all the sizes behind them."""
    index = np.searchsorted(CLASS_EDGES_BYTES, sizes_bytes, side="right")
    groups, bounds = [], []
    for k in np.unique(index):
        inside = sizes_bytes[index == k]
        mine = [
            part for part in parts
            if np.searchsorted(CLASS_EDGES_BYTES, part.size_bytes, side="right") == k
        ]  # fmt: skip
        middle = float(np.median(inside))
        groups.append([replace(part, size_bytes=middle) for part in mine])
        bounds.append((inside.min(), inside.max()))
    return summarised(groups, np.array(bounds), real_transfers=True)


def scored_transfers(
    link: "LinkModel",
    past: "TransferSamples",
    rest: "TransferSamples",
    direction: str,
    *,
    n_draws: int,
    rng: np.random.Generator,
) -> list[SizeScores]:
    """Scores of `rest`, one entry a class of sizes."""
    grid, draws_s = _drawn_on_grid(link, rest.size_bytes, direction, n_draws, rng)
    index = np.searchsorted(CLASS_EDGES_BYTES, rest.size_bytes, side="right")
    found = []
    for k in np.unique(index):
        rows = np.flatnonzero(index == k)
        parts = []
        for low in range(0, rows.size, _AT_ONCE):
            some = rest.take(rows[low : low + _AT_ONCE])
            drawn = interpolated_s(grid, draws_s, some.size_bytes)
            baselines = _baselines_s(past, some.size_bytes)
            middle = float(np.median(some.size_bytes))
            parts.append(
                compared(middle, direction, some.start_s, some.duration_s, drawn, baselines)
            )
        found.append(joined(parts, float(np.median(rest.size_bytes[rows]))))
    return found


def _drawn_on_grid(
    link: "LinkModel",
    sizes_bytes: "NDArray[np.float64]",
    direction: str,
    n_draws: int,
    rng: np.random.Generator,
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Grid of sizes, shape (g,), and sorted draws of each with one seed, shape (g, d). [s]"""
    low, high = float(sizes_bytes.min()), float(sizes_bytes.max())
    n_grid = int(np.clip(np.ceil(np.log(high / low) / np.log(_GRID_FACTOR)) + 1, 2, _MOST_GRID))
    grid = np.geomspace(low, max(high, 1.001 * low), n_grid)
    seed = int(rng.integers(2**31))
    draws = [
        predict_transfer(link, size_bytes=size, direction=direction, n_draws=n_draws, seed=seed)
        for size in grid.tolist()
    ]
    return grid, np.sort(np.array([forecast.draws for forecast in draws]), axis=1)


def interpolated_s(
    grid_bytes: "NDArray[np.float64]",
    draws_s: "NDArray[np.float64]",
    sizes_bytes: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Draws for each size, shape (n, d): quantiles between grid sizes, in logarithms. [s]"""
    x, wanted = np.log(grid_bytes), np.log(sizes_bytes)
    index = np.clip(np.searchsorted(x, wanted, side="right") - 1, 0, x.size - 2)
    weight = ((wanted - x[index]) / (x[index + 1] - x[index]))[:, None]
    log_s = np.log(draws_s)
    return np.exp((1 - weight) * log_s[index] + weight * log_s[index + 1])


def _baselines_s(
    past: "TransferSamples", sizes_bytes: "NDArray[np.float64]"
) -> "dict[str, NDArray[np.float64]]":
    """Draws of the simple forecasts, shape (n, draws). [s]"""
    mean_bps = past.size_bytes.sum() * BITS_PER_BYTE / past.duration_s.sum()
    per_byte = past.duration_s / past.size_bytes
    # even picks of the sorted record: as many draws as say all of it
    every = np.sort(per_byte)[:: -(-per_byte.size // 500)]
    n_alike = min(_ALIKE, per_byte.size)
    apart = np.abs(np.log(past.size_bytes[None, :] / sizes_bytes[:, None]))
    alike = per_byte[np.argpartition(apart, n_alike - 1, axis=1)[:, :n_alike]]
    own = sizes_bytes[:, None]
    draws = (own * BITS_PER_BYTE / mean_bps, own * every[None, :], own * alike)
    return dict(zip(BASELINES, draws, strict=True))


def _in_order(trace: Trace, direction: str) -> "TransferSamples":
    """Transfers of `direction` by time where a clock tells it, source after source elsewhere."""
    transfers = trace.transfers.take(trace.transfers.is_up == (direction == "up"))
    clocks = np.array([source.has_clock for source in trace.sources], dtype=bool)
    group = np.where(clocks[transfers.source], -1, transfers.source)
    return transfers.take(np.lexsort((transfers.start_s, group)))


def _past_trace(trace: Trace, past: "TransferSamples", rest: "TransferSamples") -> Trace:
    """What was known before the first of `rest`: probes too, where a clock tells when."""
    clocks = all(source.has_clock for source in trace.sources)
    latency = LatencySamples()
    if clocks and len(trace.latency):
        latency = trace.latency.take(trace.latency.time_s < float(rest.start_s.min()))
    return Trace(
        sources=trace.sources,
        throughput=ThroughputSamples(),
        latency=latency,
        transfers=past,
    )
