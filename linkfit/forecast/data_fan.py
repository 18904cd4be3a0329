"""Data used by each day of a billing cycle, as a fan of possible cycles."""

import zlib
from dataclasses import dataclass

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast
from linkfit.forecast.plan_use import day_shares


@dataclass(frozen=True, slots=True, kw_only=True)
class DataFan:
    """What is wanted of the plan by the end of each day, one Forecast each [bytes].

    `day_ends_days` counts from the start of the cycle; the last one is its end. [days]
    """

    day_ends_days: tuple[float, ...]
    used: tuple[Forecast, ...]
    cap_bytes: float | None


def data_fan(data: DataForecast, *, seed: int = 0) -> DataFan:
    """The fan of `data`, whose draws and days are those of `forecast_data` of the same seed.

    Notes
    -----
    The days are drawn by the generator that `forecast_data` draws its days of exhaustion with,
    so the futures that cross the cap by a day are those that run out by it.
    """
    rng = np.random.default_rng([seed, zlib.crc32(b"days")])
    shares = day_shares(data.use.draws.size, data.cycle_days, rng)
    ends = np.minimum(np.arange(1.0, shares.shape[1] + 1), data.cycle_days)
    used = tuple(
        Forecast(draws=data.use.draws * shares[:, day], unit="bytes", world=data.use.world)
        for day in range(shares.shape[1])
    )
    return DataFan(day_ends_days=tuple(ends.tolist()), used=used, cap_bytes=data.cap_bytes)
