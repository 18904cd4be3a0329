"""What a cycle of a plan holds, and a use against it: overrun, the day it runs out, what passes.

`counted_bytes`, `usable_bytes` and `kept_bytes` are the plan's rules; everything that asks what a
plan leaves goes by them. What a cycle may leave to the next one is used last and lost after that
one cycle; for the data of one cycle the one before is another draw of the same world.
"""

import math
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import fraction
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast, LedgerEntry
from linkfit.site.plan import Plan
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FEW_BYTES = 1e-9  # keeps divisions finite
DAY_COV = 0.6  # how much days differ: common practice, a guess
OVERRUN_PROB = 0.05  # "less than one cycle in twenty"


def counted_bytes(
    sent_bytes: "NDArray[np.float64]", rounded_bytes: "NDArray[np.float64] | float"
) -> "NDArray[np.float64]":
    """What the plan counts of what is sent, its sessions rounded up. [bytes]

    Parameters
    ----------
    sent_bytes : array, shape (d,)
        In the directions that the plan counts. [bytes]
    rounded_bytes : array, shape (d,), or float
        The multiple that each session is rounded up to, times the number of sessions; 0: the
        plan counts bytes as they are. [bytes]

    Notes
    -----
    Sessions differ: of exponential size with mean m, each is counted as r / (1 - exp(-r / m)) in
    the mean, half a multiple r more where it is large and a whole one where it is small.
    """
    mean = np.maximum(sent_bytes, _FEW_BYTES)
    rounded = np.maximum(rounded_bytes, _FEW_BYTES)
    counted = rounded / -np.expm1(-rounded / mean)
    return np.where(rounded_bytes > 0, np.maximum(counted, sent_bytes), sent_bytes)


def usable_bytes(
    room_bytes: "NDArray[np.float64]", rounded_bytes: "NDArray[np.float64] | float"
) -> "NDArray[np.float64]":
    """What can be sent until the plan has counted `room_bytes`: `counted_bytes` inverted."""
    rounded = np.maximum(rounded_bytes, _FEW_BYTES)
    share = np.clip(rounded / np.maximum(room_bytes, _FEW_BYTES), 0.0, 1.0)
    with np.errstate(divide="ignore"):
        sent = rounded / -np.log1p(-share)
    return np.where(rounded_bytes > 0, np.minimum(sent, room_bytes), room_bytes)


def kept_bytes(
    cap_bytes: "NDArray[np.float64] | float",
    used_bytes: "NDArray[np.float64]",
    carry_over_bytes: float,
) -> "NDArray[np.float64]":
    """What a cycle of which so much was counted leaves to the next one. [bytes]"""
    return np.clip(cap_bytes - used_bytes, 0.0, carry_over_bytes)


def against_plan(
    plan: Plan,
    ledger: tuple[LedgerEntry, ...],
    use: Forecast,
    *,
    cycle_days: float,
    up_frac: float,
    rng: np.random.Generator,
    used_bytes: float = 0.0,
    elapsed_days: float = 0.0,
    spent_frac: "NDArray[np.float64] | None" = None,
) -> DataForecast:
    """What follows from `plan` for a cycle in which `use` is wanted.

    Parameters
    ----------
    use : Forecast
        What all causes of `ledger` would use together. [bytes]
    cycle_days, elapsed_days : float
        Length of the cycle, and how much of it is over. [days]
    up_frac : float
        Part of the day in which the server is up. [fraction]
    used_bytes : float
        What the part that is over has used, as counted. [bytes]
    spent_frac : array, shape (d, days), optional
        What `day_shares` has drawn for the part that is left; from `rng` if not given.
    """
    total = use.draws
    over = runs_out = cost = needed = None
    carried = use
    if plan.cap_bytes is not None:
        room = plan.cap_bytes + _kept_before(use, plan)
        over = float(np.mean(total > room))
        left_days = cycle_days - elapsed_days
        spent = day_shares(total.size, left_days, rng) if spent_frac is None else spent_frac
        days = elapsed_days + runs_out_days(total - used_bytes, room - used_bytes, left_days, spent)
        runs_out = Forecast(draws=days, unit="days", world=use.world)
        if plan.carry_over_bytes:
            needed = cap_needed(use, plan.carry_over_bytes)
        if plan.price_per_gb is None:
            after = _most_after_bytes(plan, np.maximum(cycle_days - days, 0.0) * up_frac)
            got = np.minimum(total, np.maximum(room, used_bytes) + after)
            carried = Forecast(draws=got, unit="bytes", world=use.world)
    if plan.price_per_gb is not None:
        above = np.maximum(total - room, 0.0) if plan.cap_bytes is not None else total
        cost = Forecast(draws=above / 1e9 * plan.price_per_gb, unit="money", world=use.world)
    return DataForecast(
        cap_bytes=plan.cap_bytes,
        cycle_days=cycle_days,
        use=use,
        prob_over_cap=over,
        runs_out=runs_out,
        ledger=ledger,
        cost=cost,
        carried=carried,
        cap_needed=needed,
    )


def _most_after_bytes(plan: Plan, left_days: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Most that the throttled link carries in `left_days`, in the directions counted. [bytes]"""
    ways = 2.0 if plan.counted == "both" else 1.0
    return left_days * SECONDS_PER_DAY * ways * (plan.throttle_bps or 0.0) / BITS_PER_BYTE


def _cycle_before(use: Forecast) -> "NDArray[np.float64]":
    """For each draw another one of the same world (itself where the world has one). [bytes]"""
    order = np.argsort(use.world, kind="stable")
    _, firsts, sizes = np.unique(use.world[order], return_index=True, return_counts=True)
    before = np.empty(use.draws.size)
    for first, size in zip(firsts, sizes, strict=True):
        rows = order[first : first + size]
        before[rows] = use.draws[np.roll(rows, 1)]
    return before


def _kept_before(use: Forecast, plan: Plan) -> "NDArray[np.float64] | float":
    """What the cycle before has left over to this one. [bytes]"""
    if plan.cap_bytes is None or not plan.carry_over_bytes:
        return 0.0
    return kept_bytes(plan.cap_bytes, _cycle_before(use), plan.carry_over_bytes)


def cap_needed(use: Forecast, carry_over_bytes: float) -> Forecast:
    """The smallest cap that would do, in each draw. [bytes]

    Notes
    -----
    With T wanted now, B in the cycle before, and at most M kept: the smallest c with
    c + min(max(c - B, 0), M) >= T, which is T where T <= B, (T + B) / 2 while T <= B + 2 M,
    and T - M beyond.
    """
    total, before = use.draws, _cycle_before(use)
    kept = np.where(total <= before + 2 * carry_over_bytes, (total + before) / 2,
                    total - carry_over_bytes)  # fmt: skip
    needed = np.where(total <= before, total, kept)
    return Forecast(draws=needed, unit="bytes", world=use.world)


def runs_out_days(
    total_bytes: "NDArray[np.float64]",
    cap_bytes: "float | NDArray[np.float64]",
    cycle_days: float,
    spent_frac: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Days into the cycle at which `cap_bytes` are spent; inf where they last. [days]

    Notes
    -----
    Use is spread over the days by `spent_frac`, what `day_shares` draws, and evenly inside a day.
    """
    spent, n_days = spent_frac, spent_frac.shape[1]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        part = np.where(total_bytes > 0, cap_bytes / total_bytes, np.inf)
    day = np.minimum((spent < part[:, None]).sum(axis=1), n_days - 1)
    rows = np.arange(total_bytes.size)
    before = np.where(day > 0, spent[rows, day - 1], 0.0)
    inside = (part - before) / np.maximum(spent[rows, day] - before, 1e-300)
    length = np.where(day == n_days - 1, cycle_days - (n_days - 1), 1.0)
    return np.where(part < 1, day + np.clip(inside, 0.0, 1.0) * length, np.inf)


def day_shares(n_draws: int, cycle_days: float, rng: np.random.Generator) -> "NDArray[np.float64]":
    """Share of a cycle's use spent by the end of each day, shape (n_draws, days); the last is 1.

    Days differ by gamma weights with coefficient of variation `DAY_COV`.
    """
    n_days = math.ceil(cycle_days)
    weights = rng.standard_gamma(1 / DAY_COV**2, (n_draws, n_days))
    weights[:, -1] *= cycle_days - (n_days - 1)
    spent = np.cumsum(weights, axis=1)
    return spent / spent[:, -1:]


def smallest_plan_bytes(needed: Forecast, prob: float = OVERRUN_PROB) -> float:
    """Smallest cap that is overrun with a chance of at most `prob` in a cycle. [bytes]"""
    return float(needed.quantile(1.0 - fraction("prob", prob)))
