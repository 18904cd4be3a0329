"""backtest: fit on the past, predict the rest, and score what was said against what came.

Transfers start at random times after the past and take as long as the measured capacity lets
them; nothing of TCP is in the truth, so nothing of it is in the forecast either. Three simple
forecasts from the same past stand beside the model's: size over mean rate, independent draws of
the measured rates, and a plain replay of the measured series. A trace of real transfers is scored
on those transfers instead (`transfer_backtest`).
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, one_of, positive
from linkfit.errors import FitError, InputError
from linkfit.forecast.backtest_groups import hours_of_day, is_wild
from linkfit.forecast.backtest_scores import (
    BASELINES,
    BacktestScore,
    SizeScores,
    compared,
    summarised,
)
from linkfit.forecast.overhead import MSS_BYTES, MTU_BYTES
from linkfit.forecast.transfer import predict_transfer
from linkfit.forecast.transfer_backtest import has_transfers_only, transfer_backtest
from linkfit.ingest.trace import DIRECTIONS, LatencySamples, Trace, TransferSamples
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.link.series import MeasuredRuns, measured_runs
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import NDArray

DEFAULT_SIZES_BYTES = (5e5, 5e6, 5e7)
_BASELINE_DRAWS = 500
_MOST_STEPS = 4000
_LEAST_S = 20  # seconds on either side of the cut


def backtest(
    trace: Trace,
    *,
    sizes_bytes: Sequence[float] = DEFAULT_SIZES_BYTES,
    train_frac: float = 0.6,
    direction: str | None = None,
    n_origins: int = 1,
    n_transfers: int = 300,
    n_draws: int = 2000,
    seed: int = 0,
) -> BacktestScore:
    """Score `fit_link` and `predict_transfer` on a trace's own future.

    Parameters
    ----------
    trace : Trace
        With saturating throughput samples; else with real transfers, of which each of the rest
        is then predicted from those before.
    sizes_bytes : sequence of float
        Payloads; real transfers have their own. [bytes]
    train_frac : float
        Part of the measured seconds (or transfers) that the first fit sees, in (0, 1).
    direction : {"up", "down"}, optional
        Both that were measured if not given.
    n_origins : int
        Rolling origin: the rest is cut into so many stretches, each predicted from all before.
    n_transfers : int
        Transfers a size, direction and origin; of real ones all are taken.

    Raises
    ------
    FitError
        If no direction has 20 s, or 5 real transfers, on either side of the cut, or none of the
        transfers ends.
    """
    one_of("direction", direction or "up", DIRECTIONS)
    if not 0 < train_frac < 1:
        raise InputError(f"train_frac: expected a number between 0 and 1, got {train_frac:g}")
    sizes = [positive("sizes_bytes", size) for size in sizes_bytes]
    count("n_origins", n_origins)
    count("n_transfers", n_transfers)
    directions = (direction,) if direction else DIRECTIONS
    if all(measured_runs(trace, one) is None for one in directions) and any(
        has_transfers_only(trace, one) for one in directions
    ):
        return transfer_backtest(
            trace, directions=directions, train_frac=train_frac, n_origins=n_origins,
            n_draws=n_draws, seed=seed,
        )  # fmt: skip
    details: list[SizeScores] = []
    n_tried = 0
    for one in directions:
        runs = measured_runs(trace, one)
        if runs is None:
            continue
        cuts = np.linspace(train_frac, 1.0, n_origins + 1) * runs.rates_bps.size
        for origin, (cut, end) in enumerate(pairwise(cuts)):
            past, future = _part(runs, 0, int(cut)), _part(runs, int(cut), int(end))
            if min(past.rates_bps.size, future.rates_bps.size) >= _LEAST_S:
                n_tried += 1
                rng = np.random.default_rng([seed, origin, one == "up"])
                details += _scored(
                    past, future, one, sizes, n_transfers, n_draws, rng, _has_clock(trace)
                )
    if not n_tried:
        raise FitError(
            f"trace: expected {_LEAST_S} measured seconds before and after the cut at "
            f"{train_frac:g}, got fewer in every direction; measure longer or move train_frac"
        )
    return _summary(sizes, details)


def _has_clock(trace: Trace) -> bool:
    """Do the samples know their time of day?"""
    return all(source.has_clock for source in trace.sources)


def _part(runs: MeasuredRuns, low: int, high: int) -> MeasuredRuns:
    """The measured seconds from `low` to `high`, runs cut where they must be."""
    inner = runs.first[(runs.first > low) & (runs.first < high)]
    first = np.concatenate(([low], inner, [high]))
    index = np.searchsorted(runs.first, first[:-1], side="right") - 1
    start_s = runs.start_s[index] + (first[:-1] - runs.first[index])
    return MeasuredRuns(rates_bps=runs.rates_bps[low:high], first=first - low, start_s=start_s)


def _scored(
    past: MeasuredRuns,
    future: MeasuredRuns,
    direction: str,
    sizes: Sequence[float],
    n_transfers: int,
    n_draws: int,
    rng: np.random.Generator,
    has_clock: bool,
) -> list[SizeScores]:
    """Scores of each size from one origin."""
    link = fit_link(_as_trace(past, direction, has_clock), seed=int(rng.integers(2**31)))
    truth = CapacityPaths.from_rates(future.rates_bps)
    starts = np.sort(rng.random(n_transfers)) * truth.horizon_s
    wild = is_wild(past.rates_bps, future.rates_bps, starts)
    hour = hours_of_day(future, starts)
    found = []
    for size in sizes:
        bits = size * BITS_PER_BYTE * MTU_BYTES / MSS_BYTES
        observed = truth.time_at_bits_s(truth.carried_bits(starts) + bits) - starts
        ends = observed <= truth.horizon_s  # a longer one would meet the same future twice
        if not ends.any():
            continue
        draws = predict_transfer(
            link, size_bytes=size, direction=direction, n_draws=n_draws,
            seed=int(rng.integers(2**31)),
        ).draws  # fmt: skip
        baselines = _baselines_s(past.rates_bps, bits, rng)
        scores = compared(size, direction, starts[ends], observed[ends], draws, baselines)
        found.append(replace(scores, wild=wild[ends], hour=hour[ends]))
    return found


def _as_trace(runs: MeasuredRuns, direction: str, has_clock: bool) -> Trace:
    """The past as a Trace at the IP layer, a sample a second, gaps kept."""
    whole = Trace.from_rates(runs.rates_bps, direction=direction, layer="ip", name="past")
    start_s = np.repeat(runs.start_s, runs.lengths_s)
    within = np.arange(runs.rates_bps.size) - np.repeat(runs.first[:-1], runs.lengths_s)
    known = np.isfinite(start_s)
    if not known.all():  # without a clock: runs far enough apart to stay runs
        run = np.repeat(np.arange(runs.n_runs), runs.lengths_s)
        start_s = runs.first[run] + 600.0 * run
    samples = replace(whole.throughput, start_s=start_s + within)
    source = replace(whole.sources[0], has_clock=has_clock and bool(known.all()))
    return Trace(
        sources=(source,),
        throughput=samples,
        latency=LatencySamples(),
        transfers=TransferSamples(),
    )


def _baselines_s(
    rates_bps: "NDArray[np.float64]", bits: float, rng: np.random.Generator
) -> "dict[str, NDArray[np.float64]]":
    """Draws of the three simple forecasts. [s]"""
    mean = float(rates_bps.mean())
    if mean <= 0:
        raise FitError("past: expected a rate above 0, got only outages; measure longer")
    naive = np.array([bits / mean])
    n_steps = int(min(max(4 * naive[0], 60), _MOST_STEPS))
    step_s = max(1.0, 4 * naive[0] / n_steps)
    picked = rng.choice(rates_bps, (_BASELINE_DRAWS, n_steps))
    if step_s > 1:  # a step of many independent seconds has the mean of as many
        spread = rates_bps.std() / np.sqrt(step_s)
        picked = np.maximum(mean + spread * rng.standard_normal(picked.shape), 0.0)
    paths = CapacityPaths.from_rates(picked, step_s)
    independent = paths.time_at_bits_s(np.full(_BASELINE_DRAWS, bits), np.arange(_BASELINE_DRAWS))
    series = CapacityPaths.from_rates(rates_bps)
    starts = rng.random(_BASELINE_DRAWS) * series.horizon_s
    replayed = series.time_at_bits_s(series.carried_bits(starts) + bits) - starts
    return dict(zip(BASELINES, (naive, independent, replayed), strict=True))


def _summary(sizes: Sequence[float], details: Sequence[SizeScores]) -> BacktestScore:
    """Scores pooled over directions and origins, a size at a time."""
    groups = []
    for size in sizes:
        groups.append([detail for detail in details if detail.size_bytes == size])
        if not groups[-1]:
            raise FitError(
                f"{size:g} bytes: expected transfers that end before the trace does, got none; "
                "leave this size out or measure longer"
            )
    return summarised(groups, np.repeat([sizes], 2, axis=0).T, real_transfers=False)
