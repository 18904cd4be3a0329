"""Replay of measured (or drawn) runs in random blocks, as cumulative bits.

Each future is a chain of blocks. A block starts at a random second, follows its run from there
and, where the run ends, goes on at the run's own start: it never crosses a gap. Block lengths
are geometric, as in the stationary bootstrap, so that a future is not tied to one run for ever.

Source
------
D. N. Politis, J. P. Romano, "The Stationary Bootstrap", JASA 89(428), 1303-1313, 1994,
doi:10.1080/01621459.1994.10476870.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.link.series import GRID_S

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray


_CHUNK_ELEMENTS = 1 << 15  # rows x steps handled at once: arrays of 256 kB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RunBank:
    """Runs laid end to end as cumulative bits, ready for replay.

    Parameters
    ----------
    cumulative_bits : array, shape (n + 1,)
        Bits carried before each second, 0 first. [bits]
    first : array of int, shape (r + 1,)
        Index of each run's first second; the last entry is n.
    """

    cumulative_bits: "NDArray[np.float64]"
    first: "NDArray[np.int64]"

    @classmethod
    def from_rates(cls, rates_bps: "NDArray[np.float64]", first: "NDArray[np.int64]") -> "RunBank":
        """The bank of `rates_bps` (1 s each) with runs that start at `first`."""
        cumulative = np.zeros(rates_bps.size + 1)
        np.cumsum(rates_bps * GRID_S, out=cumulative[1:])
        return cls(cumulative_bits=cumulative, first=first)

    def run_of(self, second: "NDArray[np.int64]") -> "NDArray[np.int64]":
        """The run in which each second of the bank lies."""
        n = int(self.first[-1])
        if n <= second.size:  # one look into a table is far cheaper than a search
            return np.repeat(np.arange(self.first.size - 1), np.diff(self.first))[second]
        return np.searchsorted(self.first, second, side="right") - 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blocks:
    """Which seconds each future replays: every array has shape (d, b).

    `start` indexes the bank, `length` counts seconds, `factor` scales the rates of the block.
    """

    start: "NDArray[np.int64]"
    length: "NDArray[np.int64]"
    factor: "NDArray[np.float64]"


def block_lengths(
    n_draws: int, horizon_s: float, mean_block_s: float, rng: "Generator"
) -> "NDArray[np.int64]":
    """Geometric lengths, shape (d, b), that cover `horizon_s` in each row. [s]

    Notes
    -----
    The number of columns is the expected one plus six standard deviations; the last block of a
    row is stretched in the rare row that is still too short.
    """
    need = int(np.ceil(horizon_s / GRID_S)) + 1
    mean = max(mean_block_s / GRID_S, 1.0)
    expected = need / mean
    n_blocks = max(int(np.ceil(expected + 6.0 * np.sqrt(expected))), 1)
    length = rng.geometric(1.0 / mean, size=(n_draws, n_blocks))
    length[:, -1] += np.maximum(need - length.sum(axis=1), 0)
    return length


def replay(
    bank: RunBank, blocks: Blocks, *, horizon_s: float, step_s: float
) -> "NDArray[np.float64]":
    """Cumulative bits of each future on a grid of `step_s`, shape (d, t + 1). [bits]

    Notes
    -----
    Any step, fine or coarse, reads the same cumulative sum, so a coarse path is the sum of the
    fine one. Cost: O(d (t + b)); some rows at a time, so that the working set stays in cache.
    """
    n_steps = max(round(horizon_s / step_s), 1)
    n_draws, n_blocks = blocks.start.shape
    out = np.zeros((n_draws, n_steps + 1))
    n_rows = max(_CHUNK_ELEMENTS // (n_steps + n_blocks), 1)
    for low in range(0, n_draws, n_rows):
        rows = slice(low, low + n_rows)
        part = Blocks(
            start=blocks.start[rows], length=blocks.length[rows], factor=blocks.factor[rows]
        )
        _replay_rows(bank, part, step_s / GRID_S, out[rows, 1:])
    # differences of large sums round; a path must not fall because of that
    return np.maximum.accumulate(out, axis=1, out=out)


def _replay_rows(bank: RunBank, blocks: Blocks, step: float, out: "NDArray[np.float64]") -> None:
    """Fill `out`, shape (d, t), with the bits carried by the end of each step."""
    n_draws, n_steps = out.shape
    end = np.minimum(np.cumsum(blocks.length, axis=1), np.ceil(n_steps * step).astype(np.int64))
    begin = np.zeros_like(end)
    begin[:, 1:] = end[:, :-1]
    run = bank.run_of(blocks.start)
    run_first = bank.first[run]
    size = bank.first[run + 1] - run_first
    phase = blocks.start - run_first
    at_start = bank.cumulative_bits[blocks.start]
    at_end = _cyclic_bits(bank, run_first, size, phase + (end - begin))
    gained = np.cumsum(blocks.factor * (at_end - at_start), axis=1)
    bias = -blocks.factor * at_start
    bias[:, 1:] += gained[:, :-1]
    # steps whose end lies in (begin, end] of a block belong to it
    last = np.minimum(np.floor(end / step + 1e-9).astype(np.int64), n_steps)
    last[:, -1] = n_steps
    n_in_block = np.diff(last, axis=1, prepend=0).ravel()

    def spread(values: "NDArray[Any]") -> "NDArray[Any]":
        return np.repeat(values.ravel(), n_in_block)

    time = np.tile(np.arange(1, n_steps + 1) * step, n_draws)
    position = spread(phase - begin) + time
    wraps = spread((phase + (end - begin)) >= size)
    whole = position.astype(np.int64)
    bits = _bits_at(bank, spread(run_first), spread(size), whole, wraps)
    if not float(step).is_integer():
        following = _bits_at(bank, spread(run_first), spread(size), whole + 1, wraps)
        bits += (position - whole) * (following - bits)
    bits *= spread(blocks.factor)
    bits += spread(bias)
    out[...] = bits.reshape(out.shape)


def _bits_at(
    bank: RunBank,
    run_first: "NDArray[np.int64]",
    size: "NDArray[np.int64]",
    position: "NDArray[np.int64]",
    wraps: "NDArray[np.bool_]",
) -> "NDArray[np.float64]":
    """Bits of a repeated run by `position`; the division is spared where nothing `wraps`."""
    bits = bank.cumulative_bits[np.minimum(run_first + position, bank.first[-1])]
    where = np.flatnonzero(wraps)
    if where.size:
        bits[where] = _cyclic_bits(bank, run_first[where], size[where], position[where])
    return bits


def _cyclic_bits(
    bank: RunBank,
    run_first: "NDArray[np.int64]",
    size: "NDArray[np.int64]",
    position: "NDArray[np.int64]",
) -> "NDArray[np.float64]":
    """Bits of the bank by second `position` of a run that is repeated for ever. [bits]"""
    loops, rest = np.divmod(position, size)
    total = bank.cumulative_bits[run_first + size] - bank.cumulative_bits[run_first]
    return loops * total + bank.cumulative_bits[run_first + rest]
