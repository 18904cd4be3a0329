"""fit_link: from what was measured to what the link is like."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import FitError
from linkfit.ingest.trace import DIRECTIONS, Finding, Trace
from linkfit.link.busy import fit_rate_effect
from linkfit.link.daily import fit_daily
from linkfit.link.dependence import (
    WINDOWS_S,
    Dependence,
    lag1_inside_runs,
    optimal_block_lengths,
    variance_of_averages,
)
from linkfit.link.futures import DirectionModel
from linkfit.link.gaps import filled, sessions
from linkfit.link.groups import tell_groups_apart
from linkfit.link.latency import LatencyModel, fit_latency
from linkfit.link.level import level_spread
from linkfit.link.marginal_fit import fit_marginal
from linkfit.link.missing import missing_measurements
from linkfit.link.mixture import mixed_links
from linkfit.link.model import LinkModel
from linkfit.link.replay import Blocks, RunBank, block_lengths, replay
from linkfit.link.series import MeasuredRuns, lower_bounds_bps, measured_runs, thinned_runs
from linkfit.link.stand_ins import TransferLooks, floor_runs, transfer_looks
from linkfit.link.weekly import fit_weekly

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

MIN_BLOCK_S = 30.0
MAX_BLOCK_S = 3600.0
_BLOCKS_PER_RECORD = 8
MAX_STORED_S = 200_000
_MAX_BLOCK_VALUES = 20_000
# spread of log rate of single seconds inside one test: coefficients of variation of 0.1 (at one
# place) to 0.9 (driving) in open measurements over 4G and 5G; the middle
_INNER_SIGMA = 0.45
# the same where few seconds were seen: ten in a row are smoother than the hour around them
_UNSEEN_SIGMA = 0.35
_UNSEEN_S = 20.0
_SHOWS_SECONDS_S = 2.5  # samples longer than this hide what single seconds do


def fit_link(
    trace: Trace, *, seed: int = 0, timezone: str = "UTC", families: bool = True
) -> LinkModel:
    """The model of the link that `trace` measured.

    Parameters
    ----------
    trace : Trace
        Any mix of throughput, latency and real transfers.
    seed : int
        For the parts of the fit that draw at random.
    timezone : str
        Whose hours of the day the daily pattern tells, for example "Europe/Lisbon".
    families : bool
        Also which families tell the rates. That takes most of the time and no forecast needs
        it: all else is the same without.

    Returns
    -------
    LinkModel
        With `missing`: what to measure next.

    Raises
    ------
    FitError
        If no direction was measured at all.

    Notes
    -----
    A direction is modelled from its saturating samples; without any, from real transfers;
    without those, from lower bounds, and then a finding says so. Tests that were slower than
    others beside them, against another server or with another stream count, are lower bounds.
    """
    measured = trace
    trace, groups_told = tell_groups_apart(trace)
    latency = fit_latency(trace.latency)
    rng = np.random.default_rng(seed)
    findings = [*trace.findings, *groups_told, *mixed_links(trace)]
    models: dict[str, DirectionModel | None] = {}
    looks = {direction: _looks(trace, direction, latency) for direction in DIRECTIONS}
    for direction, seen in looks.items():
        families_rng = rng.spawn(1)[0] if families else None
        models[direction] = _fit_direction(
            trace, direction, seen, findings, timezone, rng, families_rng
        )
    if all(model is None for model in models.values()):
        raise FitError(
            "trace: expected at least one throughput sample or transfer, got none; "
            "run one speed test, or give a rate by hand"
        )
    if latency is not None:
        idle_rtts_s = latency.idle_rtts_s if latency.n_idle else None
        latency = replace(
            latency,
            up_effect=fit_rate_effect(trace, "up", idle_rtts_s),
            down_effect=fit_rate_effect(trace, "down", idle_rtts_s),
        )
    measured_latency = latency
    if latency is None:
        latency = next((seen.latency() for seen in looks.values() if seen is not None), None)
        if latency is not None:
            findings.append(_finding("round trips", "estimated", 1, _ROUND_TRIPS_TOLD))
    return LinkModel(
        up=models["up"],
        down=models["down"],
        latency=latency,
        sources=trace.sources,
        findings=tuple(findings),
        missing=(
            *(finding.text for finding in groups_told),
            *missing_measurements(
                measured, timezone, models["up"], models["down"], measured_latency
            ),
        ),
        seed=seed,
    )


def _looks(trace: Trace, direction: str, latency: LatencyModel | None) -> TransferLooks | None:
    """Real transfers of a direction that no saturating sample tells of."""
    samples = trace.throughput
    is_measured = bool((samples.saturating & (samples.is_up == (direction == "up"))).any())
    return None if is_measured else transfer_looks(trace, direction, latency)


def _fit_direction(
    trace: Trace,
    direction: str,
    seen: TransferLooks | None,
    findings: list[Finding],
    timezone: str,
    rng: "Generator",
    families_rng: "Generator | None",
) -> DirectionModel | None:
    """The model of one direction from the best evidence there is; notes what that was."""
    runs = measured_runs(trace, direction)
    bounds_bps = lower_bounds_bps(trace, direction)
    is_floor = False
    if seen is not None:
        runs = seen.runs
        findings.append(_finding(direction, TRANSFERS_KIND, seen.sending_s.size, _TRANSFERS_TOLD))
    elif runs is not None and bounds_bps.size:
        findings.append(_finding(direction, "lower bounds", bounds_bps.size, _BOUNDS_BESIDE))
    if runs is None and bounds_bps.size:
        runs, is_floor = floor_runs(trace, direction), True
        findings.append(_finding(direction, "lower bounds", bounds_bps.size, _BOUNDS_ONLY))
        bounds_bps = np.empty(0)
    if runs is None:
        return None
    rates_bps = runs.rates_bps
    mean_bps = float(rates_bps.mean())
    counted = runs if seen is None else seen.once()
    marginal = fit_marginal(counted, bounds_bps, families_rng)
    daily = fit_daily(runs, timezone)
    shown = _shows_single_seconds(trace, direction, seen)
    measured_s = float(rates_bps.size if seen is None else seen.sending_s.sum())
    model = DirectionModel(
        runs=runs,
        marginal=marginal,
        dependence=Dependence(
            lag1_correlation=lag1_inside_runs(counted.rates_bps, counted.first),
            block_s=_block_s(rates_bps),
            windows_s=(),
            spreads_bps=(),
            model_spreads_bps=(),
        ),
        daily=daily,
        weekly=fit_weekly(runs, daily),
        level=level_spread(
            measured_s,
            float(rates_bps.std()) / mean_bps if mean_bps else 0.0,
            n_apart=None if seen is None else seen.n_apart,
            session_means_bps=_session_means_bps(runs) if seen is None else None,
        ),
        mean_block_s=float(np.clip(rates_bps.size / _BLOCKS_PER_RECORD, MIN_BLOCK_S, MAX_BLOCK_S)),
        noise_sigma=_unseen_sigma(measured_s) if shown else _INNER_SIGMA,
        measured_s=measured_s,
        n_tests=runs.n_runs if seen is None else int(seen.sending_s.size),
        lower_bound_only=is_floor,
        in_order=bool(np.isfinite(runs.start_s).all()) or _n_sources(trace, direction) == 1,
    )
    model = replace(model, runs=_as_stored(thinned_runs(runs, MAX_STORED_S)))
    return replace(model, dependence=_checked(model, rng))


def _as_stored(runs: MeasuredRuns) -> MeasuredRuns:
    """Rates rounded as a saved link holds them, so that it gives the same futures."""
    return replace(runs, rates_bps=runs.rates_bps.astype(np.float32).astype(np.float64))


_BOUNDS_BESIDE = (
    "samples that did not try for all they could get, or that something else held back, tell "
    "only that the link carried at least so much; they enter the families as lower bounds and "
    "are not replayed"
)
TRANSFERS_KIND = "real transfers"
_TRANSFERS_TOLD = (
    "no test measured capacity; the rates are those that explain how long real transfers took, "
    "at most twice the fastest size over duration: small ones tell little of the fastest moments"
)
_ROUND_TRIPS_TOLD = (
    "no probe measured round trips; they are those that make the rates of real transfers "
    "independent of their sizes, so they hold all that a transfer costs besides its bytes"
)
_BOUNDS_ONLY = (
    "nothing tried for all the link could carry, so the model is a floor: capacity is at least "
    "this; run one speed test to know more"
)


def _block_s(rates_bps: "NDArray[np.float64]") -> float:
    """Optimal block of the latest seconds: its cost grows with n^1.5. [s]"""
    latest_bps = rates_bps[-_MAX_BLOCK_VALUES:]
    return optimal_block_lengths(latest_bps)[0] if latest_bps.size >= 8 else 1.0


def _finding(direction: str, kind: str, n_samples: int, text: str) -> Finding:
    return Finding(source=direction, kind=kind, n_samples=int(n_samples), text=text)


def _shows_single_seconds(trace: Trace, direction: str, seen: TransferLooks | None) -> bool:
    """Are the samples behind the model short enough to tell what single seconds do?"""
    if seen is not None:
        return float(np.median(seen.sending_s)) <= _SHOWS_SECONDS_S
    samples = trace.throughput
    keep = (samples.is_up == (direction == "up")) & samples.saturating
    return bool(keep.any()) and float(np.median(samples.duration_s[keep])) <= _SHOWS_SECONDS_S


def _session_means_bps(runs: MeasuredRuns) -> "NDArray[np.float64]":
    first = sessions(runs)
    return np.add.reduceat(runs.rates_bps, first[:-1]) / np.diff(first)


def _unseen_sigma(measured_s: float) -> float:
    """Spread of log rate that so few seconds have not shown; none after three minutes."""
    share = _UNSEEN_S / (_UNSEEN_S + measured_s) - 0.1
    return _UNSEEN_SIGMA * float(np.sqrt(max(share, 0.0)))


def _n_sources(trace: Trace, direction: str) -> int:
    keep = trace.throughput.is_up == (direction == "up")
    return int(np.unique(trace.throughput.source[keep]).size)


def _checked(model: DirectionModel, rng: "Generator") -> Dependence:
    """The dependence with the spread of averages, measured and in replayed futures."""
    runs = model.runs
    measured = variance_of_averages(runs.rates_bps, runs.first, WINDOWS_S)
    lengths_s = runs.lengths_s  # fewer than four windows say nothing of their spread
    windows = tuple(w for w in WINDOWS_S if lengths_s[lengths_s >= w].sum() >= 4 * w)
    horizon_s = float(max(WINDOWS_S))
    length = block_lengths(400, horizon_s, model.mean_block_s, rng)
    rates_bps, first, position = filled(runs.rates_bps, runs, model.marginal.outages.below_bps)
    start = position[rng.integers(runs.rates_bps.size, size=length.shape)]
    blocks = Blocks(start=start, length=length, factor=np.ones(length.shape))
    bank = RunBank.from_rates(rates_bps, first)
    bits = replay(bank, blocks, horizon_s=horizon_s, step_s=1.0)
    mean_bps = runs.rates_bps.mean()
    modelled = [
        float(np.sqrt(np.mean((np.diff(bits[:, ::window], axis=1) / window - mean_bps) ** 2)))
        for window in windows
    ]
    return replace(
        model.dependence,
        windows_s=windows,
        spreads_bps=tuple(float(np.sqrt(measured[WINDOWS_S.index(window)])) for window in windows),
        model_spreads_bps=tuple(modelled),
    )
