"""When the cap of a cycle is used up, from the days that the counters saw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linkfit._checks import non_negative, positive

LEAST_DAYS = 3
_DRAWS = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Exhaustion:
    """Days from now until the cap is used up: 5 %, median, 95 %; inf: not in this cycle.

    `prob` is the chance that it happens before the cycle ends; `total_bytes` the use of the whole
    cycle: 5 %, median, 95 %.
    """

    days: tuple[float, float, float]
    prob: float
    total_bytes: tuple[float, float, float]


def exhaustion(
    days_bytes: NDArray[np.float64],
    *,
    used_bytes: float,
    cap_bytes: float,
    left_days: float,
    seed: int = 0,
) -> Exhaustion | None:
    """When `cap_bytes` are used up if the days to come are as those seen.

    Parameters
    ----------
    days_bytes : array, shape (n,)
        Use of whole days, latest last. [bytes]
    used_bytes : float
        Of this cycle until now. [bytes]
    left_days : float
        Until the cycle ends. [days]

    Returns
    -------
    exhaustion : Exhaustion or None
        None with fewer than 3 days.

    Notes
    -----
    Each of 4000 futures first draws as many days as were seen, with replacement (how little is
    known of them), spreads them by ``sqrt(n / (n - 1))`` about their mean, for what a sample
    of n misses, and then takes its days from these. Within a day use is even.
    """
    n = days_bytes.size
    non_negative("used_bytes", used_bytes)
    positive("cap_bytes", cap_bytes)
    if n < LEAST_DAYS:
        return None
    rng = np.random.default_rng([seed, 0xE0])
    mean_bytes = days_bytes.mean()
    wider = np.maximum(mean_bytes + (days_bytes - mean_bytes) * np.sqrt(n / (n - 1)), 0.0)
    seen = wider[rng.integers(n, size=(_DRAWS, n))]
    n_ahead = max(int(np.ceil(left_days)), 1)
    ahead = np.take_along_axis(seen, rng.integers(n, size=(_DRAWS, n_ahead)), axis=1)
    ahead[:, -1] *= left_days - (n_ahead - 1)
    ends_bytes = used_bytes + np.cumsum(ahead, axis=1)
    over = ends_bytes >= cap_bytes
    day = over.argmax(axis=1)
    rows = np.arange(_DRAWS)
    before_bytes = ends_bytes[rows, day] - ahead[rows, day]
    into = (cap_bytes - before_bytes) / np.maximum(ahead[rows, day], 1e-9)
    day_length = np.where(day == n_ahead - 1, left_days - (n_ahead - 1), 1.0)
    when_days = np.where(over.any(axis=1), day + np.clip(into, 0.0, 1.0) * day_length, np.inf)
    return Exhaustion(
        days=_three(np.zeros(_DRAWS) if used_bytes >= cap_bytes else when_days),
        prob=float(over.any(axis=1).mean()),
        total_bytes=_three(ends_bytes[:, -1]),
    )


def _three(draws: NDArray[np.float64]) -> tuple[float, float, float]:
    """5 %, median and 95 %; of the draws themselves, so that inf stays inf."""
    low, middle, high = np.quantile(draws, [0.05, 0.5, 0.95], method="inverted_cdf").tolist()
    return low, middle, high
