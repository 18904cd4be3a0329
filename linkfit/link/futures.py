"""Futures of one direction: measured runs replayed in blocks, each world with its own unknowns."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, positive
from linkfit.link.daily import DailyPattern, local_hours
from linkfit.link.dependence import Dependence
from linkfit.link.gaps import filled, sessions
from linkfit.link.level import EPOCH_S, LevelSpread
from linkfit.link.marginal import Marginal
from linkfit.link.paths import CapacityPaths
from linkfit.link.replay import Blocks, RunBank, block_lengths, replay
from linkfit.link.series import MeasuredRuns
from linkfit.link.weekly import WeeklyPattern, unknown_week

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

_N_STRETCHES = 20
# the end of the record counts e^2 times as much as its start; open traces choose 2 to 4 (tests of
# accuracy: score against plain replay 0.98 with 1, 0.96 with 2 to 4, whichever link is left out)
_RECENT_WEIGHT = 2.0
_NOISE_BANK_S = 4096
_MAX_BLOCKS = 1 << 20  # starts and lengths drawn at once: 8 MB each


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DirectionModel:
    """One direction of the link.

    Parameters
    ----------
    runs : MeasuredRuns
        What was measured, at the IP layer; whole runs of it where the record is very long.
    marginal : Marginal
        Rates of single seconds, outages, families.
    dependence : Dependence
        How long seconds resemble each other, and the check of the replay against it.
    daily : DailyPattern
        Factor by local hour, or that none was found.
    weekly : WeeklyPattern
        Weekends against other days, or that no difference was found; told, not drawn.
    level : LevelSpread
        How far the future's level may lie from the record's.
    mean_block_s : float
        Mean length of a replayed block. [s]
    noise_sigma : float
        Spread of log rate inside a sample that was too long to show it; 0: measured. [1]
    measured_s : float
        Seconds behind the model, before the record was thinned. [s]
    n_tests : int
        Separate runs behind the model.
    lower_bound_only : bool
        Nobody ever tried for all the link could carry: the level is a floor.
    """

    runs: MeasuredRuns
    marginal: Marginal
    dependence: Dependence
    daily: DailyPattern
    level: LevelSpread
    mean_block_s: float
    noise_sigma: float = 0.0
    measured_s: float
    n_tests: int
    lower_bound_only: bool = False
    in_order: bool = field(default=True)
    weekly: WeeklyPattern = field(default_factory=unknown_week)

    def __post_init__(self) -> None:
        positive("mean_block_s", self.mean_block_s)
        non_negative("noise_sigma", self.noise_sigma)
        positive("measured_s", self.measured_s)

    @property
    def mean_rate_bps(self) -> float:
        """Mean of the measured seconds. [bit/s at the IP layer]"""
        return float(self.runs.rates_bps.mean())


def draw_paths(
    model: DirectionModel,
    *,
    horizon_s: float,
    n_draws: int,
    rng: "Generator",
    n_worlds: int,
    step_s: float,
    hour: float | None,
) -> CapacityPaths:
    """Futures of `model`; the arguments are those of `LinkModel.paths`.

    Notes
    -----
    A world has its own level and its own random weights on some twenty stretches of the record
    (the Bayesian bootstrap of D. B. Rubin, Ann. Statist. 9(1), 130-134, 1981), so that worlds
    differ in all that a record of this length cannot tell: level, spread, share of outages.
    Blocks start at measured seconds and go on by the record's clock: short gaps pass as the runs
    beside them.
    """
    world = np.arange(n_draws) % n_worlds
    rates_bps, first = replayed_rates(model, hour, rng)
    starts = StartSampler.draw(model, first, n_worlds, rng)
    bank, position = clocked_bank(model, rates_bps, first)
    level = model.level.world_factors(n_worlds, rng)
    if hour is not None:
        level = level * np.exp(model.daily.sigma_at(hour) * rng.standard_normal(n_worlds))
    n_steps = max(round(horizon_s / step_s), 1)
    cumulative = np.empty((n_draws, n_steps + 1))
    n_blocks = horizon_s / model.mean_block_s + 1
    rows_at_once = max(int(_MAX_BLOCKS / (2 * n_blocks)), 1)
    for low in range(0, n_draws, rows_at_once):
        rows = slice(low, min(low + rows_at_once, n_draws))
        length = block_lengths(world[rows].size, horizon_s + step_s, model.mean_block_s, rng)
        start = starts.sample(world[rows], length.shape[1], rng)
        if position is not None:
            start = position[start]
        factor = block_factors(model, length, hour, rng) * level[world[rows], None]
        blocks = Blocks(start=start, length=length, factor=factor)
        cumulative[rows] = replay(bank, blocks, horizon_s=horizon_s, step_s=step_s)
    return CapacityPaths(cumulative_bits=cumulative, step_s=step_s, world=world.astype(np.int32))


def replayed_rates(
    model: DirectionModel, hour: float | None, rng: "Generator"
) -> "tuple[NDArray[np.float64], NDArray[np.int64]]":
    """Rates and run starts to replay: the daily pattern taken out where an hour is asked for."""
    runs = model.runs
    rates_bps, first = runs.rates_bps, sessions(runs)
    if hour is not None and model.daily.found:
        rates_bps = rates_bps / model.daily.factor_at(second_hours(runs, model.daily.timezone))
    if model.noise_sigma == 0:
        return rates_bps, first
    # tests told as totals: repeat them under a noise like that of measured seconds
    repeats = max(_NOISE_BANK_S // rates_bps.size, 1)
    noise = _inner_noise(rates_bps.size * repeats, model.noise_sigma, rng)
    size = int(rates_bps.size)
    shifted = [first[:-1] + size * i for i in range(repeats)]
    return np.tile(rates_bps, repeats) * noise, np.concatenate((*shifted, [size * repeats]))


def clocked_bank(
    model: DirectionModel, rates_bps: "NDArray[np.float64]", first: "NDArray[np.int64]"
) -> "tuple[RunBank, NDArray[np.int64] | None]":
    """What blocks replay, with short gaps on the clock, and where each measured second went.

    `rates_bps` and `first` are those of `replayed_rates`; None: every second stayed in its place.
    """
    if model.noise_sigma > 0:  # drawn seconds have no gaps between them
        return RunBank.from_rates(rates_bps, first), None
    rates_bps, first, position = filled(rates_bps, model.runs, model.marginal.outages.below_bps)
    return RunBank.from_rates(rates_bps, first), position


def second_hours(runs: MeasuredRuns, timezone: str) -> "NDArray[np.float64]":
    """Local hour of every second; noon where a run has no clock, since it has no pattern. [h]"""
    within = np.arange(runs.rates_bps.size) - np.repeat(runs.first[:-1], runs.lengths_s)
    time_s = np.repeat(runs.start_s, runs.lengths_s) + within
    return local_hours(np.where(np.isfinite(time_s), time_s, 43200.0), timezone)


def _inner_noise(n: int, sigma: float, rng: "Generator") -> "NDArray[np.float64]":
    """Factors with mean 1: a moving average of white noise, alike over some five seconds."""
    width = 5
    white = rng.standard_normal(n + width - 1)
    total = np.cumsum(np.concatenate(([0.0], white)))
    normal = (total[width:] - total[:-width]) / np.sqrt(width)
    return np.exp(sigma * normal - 0.5 * sigma**2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StartSampler:
    """Stretches of the bank, and for each world the cumulative weight of its stretches."""

    edge: "NDArray[np.int64]"  # shape (stretches + 1,)
    cumulative: "NDArray[np.float64]"  # shape (worlds, stretches), rows end at world + 1

    @classmethod
    def draw(
        cls, model: DirectionModel, first: "NDArray[np.int64]", n_worlds: int, rng: "Generator"
    ) -> "StartSampler":
        """Stretches of a bank whose runs start at `first`, with weights for each world."""
        n = int(first[-1])
        edge = np.unique(np.linspace(0, n, min(_N_STRETCHES, n) + 1).astype(np.int64))
        weight = np.diff(edge).astype(np.float64)
        if model.in_order:
            middle = 0.5 * (edge[1:] + edge[:-1]) / n
            weight = weight * np.exp(_RECENT_WEIGHT * (middle - 1))
        drawn = weight * rng.standard_exponential((n_worlds, weight.size))
        if n_worlds == 1:  # one world is no sample of worlds: take the record as it is
            drawn = weight[None, :]
        cumulative = np.cumsum(drawn, axis=1)
        cumulative = cumulative / cumulative[:, -1:] + np.arange(n_worlds)[:, None]
        return cls(edge=edge, cumulative=cumulative)

    def sample(
        self, world: "NDArray[np.int64]", n_blocks: int, rng: "Generator"
    ) -> "NDArray[np.int64]":
        """Seconds at which blocks start, shape (d, b)."""
        where = rng.random((world.size, n_blocks)) + world[:, None]
        found = np.searchsorted(self.cumulative.ravel(), where, side="right")
        stretch = np.minimum(found - world[:, None] * (self.edge.size - 1), self.edge.size - 2)
        low, high = self.edge[stretch], self.edge[stretch + 1]
        return low + (rng.random(stretch.shape) * (high - low)).astype(np.int64)


def block_factors(
    model: DirectionModel,
    length: "NDArray[np.int64]",
    hour: float | None,
    rng: "Generator",
    first_factor: "NDArray[np.float64] | None" = None,
) -> "NDArray[np.float64]":
    """Chance level of each block's two hours, times the daily pattern along the path.

    `first_factor`, shape (d,): the level of the first two hours where it is known.
    """
    end = np.cumsum(length, axis=1)
    begin = end - length
    chance = model.level.epoch_factors(length.shape[0], float(end.max()), rng)
    if first_factor is not None:
        chance[:, 0] = first_factor
    epoch = (begin // int(EPOCH_S)).astype(np.int64)
    factor = np.take_along_axis(chance, epoch, axis=1)
    if hour is not None and model.daily.found:
        middle_h = hour + np.minimum(0.5 * (begin + end), begin + 1800.0) / 3600.0
        factor = factor * model.daily.factor_at(middle_h)
    return factor
