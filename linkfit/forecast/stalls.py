"""Watching a stream: how long before it plays, how often it stalls and for how long.

A player fetches ahead into a buffer, plays once enough is there, stalls when the buffer is empty
and goes on once enough is there again. What it sees depends only on the rate that all streams
together ask for: N viewers of a rate r share the link as one viewer of N r would.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from linkfit.link.paths import CapacityPaths


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """What a player keeps ahead: content before it starts, before it goes on, and at most. [s]

    `still_frac` is the share of a session for which a good one may stand still. [fraction]
    """

    start_s: float
    resume_s: float
    ahead_s: float
    still_frac: float = 0.0

    def __post_init__(self) -> None:
        most = max(positive("start_s", self.start_s), positive("resume_s", self.resume_s))
        if positive("ahead_s", self.ahead_s) < most:
            raise InputError(f"ahead_s: expected at least {most:g} s, got {self.ahead_s:g}")


# a segment of 6 s to start, half a minute ahead; common practice
FILM = Player(start_s=6.0, resume_s=6.0, ahead_s=30.0)
# what is shown live cannot be fetched ahead: it may run a few seconds late, and a look may stand
# still for a twentieth of its time; common practice
LIVE = Player(start_s=1.0, resume_s=1.0, ahead_s=4.0, still_frac=0.05)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Watching:
    """Sessions of one length, shape (k, n): one row a rate that was asked for.

    `wait_s` is the time before the first picture (the session's length if it never comes),
    `stalled_s` the time that it stood still after that, in `n_stalls` pieces.
    """

    session_s: float
    wait_s: "NDArray[np.float64]"
    stalled_s: "NDArray[np.float64]"
    n_stalls: "NDArray[np.int64]"

    def is_good(self, player: Player) -> "NDArray[np.bool_]":
        """Sessions that begin, and stand still no longer than `player` allows; shape (k, n)."""
        most_s = player.still_frac * self.session_s
        return (self.stalled_s <= most_s) & (self.wait_s < self.session_s)


def watch(
    paths: "CapacityPaths",
    starts_s: "NDArray[np.float64]",
    draws: "NDArray[np.int64]",
    asked_bps: "ArrayLike",
    *,
    player: Player,
    session_s: float,
) -> Watching:
    """Sessions that start at given times, for each of several rates.

    Parameters
    ----------
    paths : CapacityPaths
        What all streams together can use.
    starts_s, draws : array, shape (n,)
        When each session starts [s], and on which row.
    asked_bps : array, shape (k,)
        Rate of all streams together at the IP layer. [bit/s]
    session_s : float
        Length of a session, waits and stalls included. [s]

    Notes
    -----
    O(k n t) in t array operations over steps of the paths. All viewers are taken to be in the
    same state: whose buffer is full leaves nothing to the others, the cautious reading.
    """
    asked = np.asarray(asked_bps, dtype=np.float64).reshape(-1, 1)
    if not (np.isfinite(asked) & (asked > 0)).all():
        raise InputError(f"asked_bps: expected finite numbers > 0, got {asked.min():g}")
    n_steps = max(round(positive("session_s", session_s) / paths.step_s), 1)
    at_s = starts_s[:, None] + np.arange(n_steps + 1) * paths.step_s
    arrives = np.diff(paths.carried_bits(at_s, draws[:, None]), axis=1).T.copy()
    return _play(arrives, asked, paths.step_s, player)


def _play(
    arrives_bits: "NDArray[np.float64]", asked_bps: "NDArray[np.float64]", dt_s: float,
    player: Player,
) -> Watching:  # fmt: skip
    """The player in steps of `dt_s`; `arrives_bits` has shape (t, n)."""
    shape = (asked_bps.shape[0], arrives_bits.shape[1])
    ahead_s, stalled_s, wait_s = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    n_stalls = np.zeros(shape, dtype=np.int64)
    plays = np.zeros(shape, dtype=np.bool_)
    begun = np.zeros(shape, dtype=np.bool_)
    for bits in arrives_bits:
        wait_s += ~begun * dt_s
        stalled_s += (begun & ~plays) * dt_s
        ahead_s += bits / asked_bps
        ahead_s -= plays * dt_s
        empty = plays & (ahead_s < -1e-9)
        stalled_s -= empty * ahead_s
        n_stalls += empty
        np.clip(ahead_s, 0.0, player.ahead_s, out=ahead_s)
        plays &= ~empty
        plays |= ahead_s >= np.where(begun, player.resume_s, player.start_s) - 1e-9
        begun |= plays
    return Watching(
        session_s=arrives_bits.shape[0] * dt_s,
        wait_s=wait_s,
        stalled_s=stalled_s,
        n_stalls=n_stalls,
    )
