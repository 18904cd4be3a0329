"""Futures that start now: the replay begins where the record was like the last minutes.

Three steps. (1) The level of each world and future is drawn given the last minutes: a level is
likely where the record, moved to it, has minutes like these. (2) The first block of each future
starts at a second of the record drawn by how alike the expected course is. (3) What still differs
between that second and now is carried over, fading as the record's own deviations fade. From the
second block on a future is that of any other time.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.daily import local_hours
from linkfit.link.futures import (
    DirectionModel,
    StartSampler,
    block_factors,
    clocked_bank,
    draw_paths,
    replayed_rates,
)
from linkfit.link.level import EPOCH_S, student_4
from linkfit.link.paths import CapacityPaths
from linkfit.link.recent import LEADS_S, Persistence, RecentRates, Record, learn_persistence
from linkfit.link.replay import Blocks, block_lengths, replay

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

_CANDIDATES = 128  # seconds of the record that one future chooses its start from
_ROWS_AT_ONCE = 1024
_LIKE_ROWS = [0, 3]  # leads whose expected rate makes two seconds alike: the next one and 4 to 8 s
_LIKE_WIDTH = 1.0  # bandwidth, as a share of what the state leaves unexplained at those leads
_LEVEL_COLUMNS = [2, 3]  # windows of 15 and 60 s tell the level
_LEVEL_SHARE = np.array([0.65, 0.4])  # their spread over that of single seconds, on open traces
_LEVEL_PRIOR_WINDOWS = 4.0  # minutes of record that this share counts for
_LEAST_WIDTH = 0.1
_TAIL = 3.0  # degrees of freedom of the likeness of levels
# minutes like nothing in the record say nothing of its level (an outage is no level): so much
# likeness every level has
_LEAST_LIKENESS = 1e-4
# a throttle, a new cell: one future in fifty has a level that the record says nothing about
_JUMP_PROB = 0.02
_JUMP_SIGMA = 1.2
_MOST_LOG = 2.5  # no stretch is scaled by more than e^2.5
# short records: this over their length is the share of futures that start at any time instead
_UNLEARNT_S = 20.0
_MOST_UNLEARNT_FRAC = 0.1
_GRID = np.linspace(-6.0, 6.0, 241)


def draw_paths_now(
    model: DirectionModel,
    recent: RecentRates,
    *,
    recent_age_s: float,
    horizon_s: float,
    n_draws: int,
    rng: "Generator",
    n_worlds: int,
    step_s: float,
    hour: float | None,
) -> CapacityPaths:
    """Futures of `model` that start `recent_age_s` after `recent`; arguments of `paths`.

    Notes
    -----
    Bandwidths and the share of futures that start at any time (20 s over the record's length, at
    most a tenth) were chosen on six cellular directions, two satellite ones and two series of
    uplink tests: forecasts of 0.5 and 5 MB from single seconds of the last 40 % of each, fitted on
    the first 60 %. Against forecasts that start at any time the ranked probability score there is
    0.54 and 0.80 in the median; other bandwidths and shares that were tried move the pooled median
    by 0.03 at most. Pooled coefficients learnt without the place that is scored cost 0.003.

    No weight between the two kinds of forecast is fitted: where the record shows that seconds do
    not depend on each other, the regression itself takes all effect of the last minutes away.
    """
    if hour is None and model.daily.found and np.isfinite(recent.end_s):
        end_s = np.array([recent.end_s + recent_age_s])
        hour = float(local_hours(end_s, model.daily.timezone)[0])
    rates_bps, first = replayed_rates(model, hour, rng)
    record = Record.from_rates(rates_bps, first)
    bank, position = clocked_bank(model, rates_bps, first)
    now = _Now.learn(model, recent, record, bank.first, position, recent_age_s, hour)
    world = np.arange(n_draws) % n_worlds
    unknown, chances = now.world_levels(n_worlds, rng)
    starts = StartSampler.draw(model, first, n_worlds, rng)
    cumulative = np.empty((n_draws, max(round(horizon_s / step_s), 1) + 1))
    for low in range(0, n_draws, _ROWS_AT_ONCE):
        rows = slice(low, min(low + _ROWS_AT_ONCE, n_draws))
        some = world[rows]
        chance = now.chance_levels(some, chances, rng)
        blocks = now.blocks(starts, some, unknown[some], chance, horizon_s + step_s, hour, rng)
        cumulative[rows] = replay(bank, blocks, horizon_s=horizon_s, step_s=step_s)
    paths = CapacityPaths(cumulative_bits=cumulative, step_s=step_s, world=world.astype(np.int32))
    return _with_any_time(model, paths, horizon_s, n_worlds, hour, rng)


def _with_any_time(
    model: DirectionModel,
    paths: CapacityPaths,
    horizon_s: float,
    n_worlds: int,
    hour: float | None,
    rng: "Generator",
) -> CapacityPaths:
    """`paths` with some futures replaced by ones that know nothing of the last minutes."""
    share_frac = min(_UNLEARNT_S / model.measured_s, _MOST_UNLEARNT_FRAC)
    rows = np.flatnonzero(rng.random(paths.n_draws) < share_frac)
    if not rows.size:
        return paths
    other = draw_paths(
        model, horizon_s=horizon_s, n_draws=rows.size, rng=rng,
        n_worlds=min(n_worlds, rows.size), step_s=paths.step_s, hour=hour,
    )  # fmt: skip
    cumulative = paths.cumulative_bits.copy()
    cumulative[rows] = other.cumulative_bits
    return replace(paths, cumulative_bits=cumulative)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Now:
    """The state of the link now, and what follows from it for level and course."""

    model: DirectionModel
    record: Record  # measured seconds alone: what the state and its persistence are told by
    bank_first: "NDArray[np.int64]"  # sessions of what is replayed
    position: "NDArray[np.int64] | None"  # of each measured second in it; None: the same
    persistence: Persistence
    windows_s: tuple[int, ...]
    state_levels: "NDArray[np.float64]"
    age_s: float
    unknown_sigma: float
    likeness_weights: "NDArray[np.float64]"  # of the levels in _GRID

    @classmethod
    def learn(
        cls,
        model: DirectionModel,
        recent: RecentRates,
        record: Record,
        bank_first: "NDArray[np.int64]",
        position: "NDArray[np.int64] | None",
        age_s: float,
        hour: float | None,
    ) -> "_Now":
        windows_s = recent.windows_s
        told_s = model.measured_s if _tells_seconds(model) else 0.0
        state, unknown_sigma = record.state_of(recent), model.level.unknown_sigma
        if hour is not None:
            state = state - np.log(model.daily.factor_at(np.array([hour])))
            unknown_sigma = float(np.hypot(unknown_sigma, model.daily.sigma_at(hour)))
        return cls(
            model=model,
            record=record,
            bank_first=bank_first,
            position=position,
            persistence=learn_persistence(record, windows_s, told_s=told_s),
            windows_s=windows_s,
            state_levels=state,
            age_s=age_s,
            unknown_sigma=unknown_sigma,
            likeness_weights=_level_likeness(record, state, windows_s),
        )

    def world_levels(
        self, n_worlds: int, rng: "Generator"
    ) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
        """Log level of each world, and cumulative weights of its chance levels, (w, 2 x 41)."""
        unknown = self.unknown_sigma * student_4((np.arange(201) + 0.5) / 201)
        chance, prior = self._chances()
        joint = prior * np.interp(unknown[:, None] + chance, _GRID, self.likeness_weights)
        cumulative = np.cumsum(joint.sum(axis=1))
        prob = (np.arange(n_worlds) + 0.5) / n_worlds if n_worlds > 1 else rng.random(1)
        picked = rng.permutation(np.searchsorted(cumulative, prob * cumulative[-1]))
        of_world = np.cumsum(joint[picked], axis=1)
        return unknown[picked], of_world / of_world[:, -1:]

    def chance_levels(
        self, world: "NDArray[np.int64]", weights: "NDArray[np.float64]", rng: "Generator"
    ) -> "NDArray[np.float64]":
        """Log chance level of each future, shape (d,); forgotten over two hours."""
        chance, _ = self._chances()
        drawn = chance[(rng.random((world.size, 1)) >= weights[world]).sum(axis=1)]
        forgotten = rng.random(world.size) > np.exp(-self.age_s / EPOCH_S)
        fresh = self.model.level.chance_sigma * rng.standard_normal(world.size)
        return np.where(forgotten, fresh, drawn)

    def _chances(self) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
        """Chance levels and their prior weights: the record's own, and a jump."""
        normal = np.linspace(-3.0, 3.0, 41)
        weight = np.exp(-0.5 * normal**2) / np.exp(-0.5 * normal**2).sum()
        levels = np.concatenate((self.model.level.chance_sigma * normal, _JUMP_SIGMA * normal))
        return levels, np.concatenate(((1 - _JUMP_PROB) * weight, _JUMP_PROB * weight))

    def blocks(
        self,
        starts: StartSampler,
        world: "NDArray[np.int64]",
        unknown_level: "NDArray[np.float64]",
        chance_level: "NDArray[np.float64]",
        horizon_s: float,
        hour: float | None,
        rng: "Generator",
    ) -> Blocks:
        """The first block cut at the leads and scaled, then blocks of any time."""
        level = unknown_level + chance_level
        second = self._alike(starts, world, level, rng)
        left = self.state_levels - level[:, None] - self.record.states(second, self.windows_s)
        carried = np.zeros((world.size, len(LEADS_S)))  # nothing past the last lead
        np.clip(left @ self.persistence.share.T, -_MOST_LOG, _MOST_LOG, out=carried[:, :-1])
        edges = np.maximum(np.array(LEADS_S, dtype=np.int64), round(self.age_s))
        mean_block_s = self.model.mean_block_s
        # counted from the last minutes: an old state may be in no block any more
        first_s = rng.geometric(1.0 / mean_block_s, (world.size, 1))
        cut = np.clip(first_s, edges, np.append(edges[1:], np.iinfo(np.int64).max))
        second = self._in_bank(second)
        run = np.searchsorted(self.bank_first, second, side="right") - 1
        begin = self.bank_first[run][:, None]
        size = self.bank_first[run + 1][:, None] - begin
        start = begin + (second[:, None] + 1 + edges - begin) % size
        later = block_lengths(world.size, horizon_s, mean_block_s, rng)
        later_start = self._in_bank(starts.sample(world, later.shape[1], rng))
        length = np.concatenate((cut - edges, later), axis=1)
        factor = block_factors(self.model, length, hour, rng, first_factor=np.exp(chance_level))
        factor *= np.exp(unknown_level)[:, None]
        factor[:, : carried.shape[1]] *= np.exp(carried)
        return Blocks(
            start=np.concatenate((start, later_start), axis=1),
            length=length,
            factor=factor,
        )

    def _in_bank(self, seconds: "NDArray[np.int64]") -> "NDArray[np.int64]":
        """Where measured seconds lie in what is replayed, shape of `seconds`."""
        return seconds if self.position is None else self.position[seconds]

    def _alike(
        self,
        starts: StartSampler,
        world: "NDArray[np.int64]",
        level: "NDArray[np.float64]",
        rng: "Generator",
    ) -> "NDArray[np.int64]":
        """A second of the record for each future, likely where the course ahead is alike."""
        share = self.persistence.share[_LIKE_ROWS] / (
            _LIKE_WIDTH * self.persistence.left_sigma[_LIKE_ROWS, None]
        )
        candidate = starts.sample(world, _CANDIDATES, rng)
        there = self.record.states(candidate, self.windows_s) @ share.T
        here = (self.state_levels - level[:, None]) @ share.T
        distance = ((here[:, None, :] - there) ** 2).sum(axis=2)
        # the nearest keeps weight 1: where nothing is near, the nearest is taken
        weight = np.exp(-0.5 * (distance - distance.min(axis=1, keepdims=True)))
        cumulative = np.cumsum(weight, axis=1)
        where = rng.random((world.size, 1)) * cumulative[:, -1:]
        return candidate[np.arange(world.size), (cumulative < where).sum(axis=1)]


def _tells_seconds(model: DirectionModel) -> bool:
    """Do the samples tell how single seconds follow each other, or means of many at once?"""
    repeated = np.diff(model.runs.rates_bps) == 0
    return not repeated.size or float(repeated.mean()) < 0.5


def _level_likeness(
    record: Record, state_levels: "NDArray[np.float64]", windows_s: tuple[int, ...]
) -> "NDArray[np.float64]":
    """How likely the last minutes are at each log level of _GRID: a kernel over the record."""
    n = record.n_seconds
    seconds = np.unique(np.linspace(0, n - 1, min(n, 600)).astype(np.int64))
    states = record.states(seconds, windows_s)
    # a short record has few minutes, so their spread leans on that of its single seconds
    own, n_windows = states[:, _LEVEL_COLUMNS].var(axis=0), n / 60.0
    prior = (_LEVEL_SHARE * states[:, 0].std()) ** 2
    variance = (n_windows * own + _LEVEL_PRIOR_WINDOWS * prior) / (n_windows + _LEVEL_PRIOR_WINDOWS)
    width = np.maximum(np.sqrt(variance), _LEAST_WIDTH)
    moved = state_levels[_LEVEL_COLUMNS] - _GRID[:, None, None] - states[:, _LEVEL_COLUMNS]
    distance = ((moved / width) ** 2).sum(axis=2)
    likeness = ((1.0 + distance / _TAIL) ** (-0.5 * (_TAIL + 2))).mean(axis=1)
    return likeness + _LEAST_LIKENESS
