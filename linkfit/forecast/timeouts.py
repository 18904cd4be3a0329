"""Timeouts of a path: the rate each asks for, and how long they should be on this link."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.forecast.chances import Chance, chance_of
from linkfit.forecast.draws import Forecast
from linkfit.forecast.long_paths import outages
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.forecast.long_paths import LongPaths
    from linkfit.link.paths import CapacityPaths

# timers met in proxies and relays (common practice)
COMMON_TIMEOUTS_S = (30.0, 60.0, 90.0, 120.0, 300.0)
SAFETY_FACTOR = 2.0  # the rule of chunks: half of the timeout at the 5th percentile
_LEAST_TIMEOUT_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeoutRow:
    """One total timeout: the payload rate that one piece needs, and the chance that it passes."""

    timeout_s: float
    least_rate_bps: float
    passes: Chance


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeoutAdvice:
    """Timeouts to set: for one whole request, and for silence (an outage in between).

    `total_s` is twice the 95th percentile of one piece's time; `idle_s` outlasts 95 % of the
    outages, and at least 30 s either way. `outage` has the lengths behind it (None: no outage
    was seen), `outages_per_day` how many there are.
    """

    total_s: float
    idle_s: float
    piece: Forecast
    outage: Forecast | None
    outages_per_day: Forecast


def least_rate_bps(piece_bytes: float, timeout_s: float) -> float:
    """Rate below which a piece does not end within the timeout. [bit/s]"""
    piece_bits = positive("piece_bytes", piece_bytes) * BITS_PER_BYTE
    return piece_bits / positive("timeout_s", timeout_s)


def piece_times_s(
    long: "LongPaths", piece_bits: float, rng: "Generator", *, n_each: int = 4
) -> "tuple[NDArray[np.float64], NDArray[np.int32]]":
    """Time of one piece from random moments if nothing breaks it, with worlds; shape (n,). [s]"""
    who = np.repeat(np.arange(long.n_draws), n_each)
    starts_s = rng.uniform(0.0, long.round_s, who.size)
    have = long.carried_bits(starts_s, who)
    return long.time_at_bits_s(have + piece_bits, who) - starts_s, long.world[who]


def timeout_rows(
    times_s: "NDArray[np.float64]",
    world: "NDArray[np.int32]",
    *,
    piece_bytes: float,
    timeouts_s: tuple[float, ...],
) -> tuple[TimeoutRow, ...]:
    """What each of `timeouts_s` asks of the link for a piece that takes `times_s`."""
    return tuple(
        TimeoutRow(
            timeout_s=timeout_s,
            least_rate_bps=least_rate_bps(piece_bytes, timeout_s),
            passes=chance_of(times_s <= timeout_s, world),
        )
        for timeout_s in sorted(set(timeouts_s))
    )


def timeout_advice(
    paths: "CapacityPaths", times_s: "NDArray[np.float64]", world: "NDArray[np.int32]"
) -> TimeoutAdvice:
    """Timeouts that `paths` call for, where one piece takes `times_s`."""
    row, _, length_s = outages(paths)
    counts = np.bincount(row, minlength=paths.n_draws)
    per_day = np.asarray(counts * SECONDS_PER_DAY / paths.horizon_s, dtype=np.float64)
    outage = None
    if length_s.size:
        outage = Forecast(draws=length_s, unit="s", world=paths.world[row])
    piece = Forecast(draws=times_s, unit="s", world=world)
    outage_s = 0.0 if outage is None else float(outage.quantile(0.95))
    return TimeoutAdvice(
        total_s=max(SAFETY_FACTOR * float(piece.quantile(0.95)), _LEAST_TIMEOUT_S),
        idle_s=max(outage_s, _LEAST_TIMEOUT_S),
        piece=piece,
        outage=outage,
        outages_per_day=Forecast(draws=per_day, unit="a day", world=paths.world),
    )
