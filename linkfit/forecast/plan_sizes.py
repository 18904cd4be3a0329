"""Which plan is large enough: the exact cap, the usual sizes, and how sure both are."""

from dataclasses import dataclass

from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import DataForecast
from linkfit.forecast.plan_use import OVERRUN_PROB, smallest_plan_bytes
from linkfit.forecast.world_intervals import over_worlds

# Sizes that plans are sold in: common practice.
USUAL_SIZES_GB = (1, 2, 5, 10, 15, 20, 30, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000, 2000)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanChance:
    """A cap [bytes] and its chance of an overrun in a cycle, with the 90 % interval on it."""

    cap_bytes: float
    prob_over: float
    prob_over_low: float
    prob_over_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSizes:
    """The smallest cap overrun in less than one cycle in twenty, and the usual sizes around it.

    `exact_low_bytes`, `exact_high_bytes` are 5 and 95 % points over what is not known of the
    habits. `enough` is the smallest usual size that does (None: even the largest does not),
    `below` the next smaller one (None: there is none).
    """

    exact_bytes: float
    exact_low_bytes: float
    exact_high_bytes: float
    enough: PlanChance | None
    below: PlanChance | None


def plan_sizes(data: DataForecast) -> PlanSizes:
    """Plans that would do for `data`, under its own rule of what is kept for the next cycle."""
    needed = data.cap_needed or data.use
    exact_bytes = smallest_plan_bytes(needed)
    low_bytes, high_bytes = needed.quantile_interval(1.0 - OVERRUN_PROB)
    sizes = [size * 1e9 for size in USUAL_SIZES_GB]
    enough = next((size for size in sizes if size >= exact_bytes), None)
    below = max((size for size in sizes if size < exact_bytes), default=None)
    return PlanSizes(
        exact_bytes=exact_bytes,
        exact_low_bytes=low_bytes,
        exact_high_bytes=high_bytes,
        enough=None if enough is None else plan_chance(needed, enough),
        below=None if below is None else plan_chance(needed, below),
    )


def plan_chance(needed: Forecast, cap_bytes: float) -> PlanChance:
    """The chance that a cycle needs more than `cap_bytes`, and its spread over the worlds."""
    over = needed.draws > cap_bytes
    found = over_worlds(needed.world, lambda rows: float(over[rows].mean()))
    return PlanChance(
        cap_bytes=cap_bytes,
        prob_over=found.value,
        prob_over_low=max(found.low, 0.0),
        prob_over_high=min(found.high, 1.0),
    )
