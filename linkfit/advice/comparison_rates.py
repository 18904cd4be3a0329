"""The rates of two links compared, direction by direction, and which differences are real."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.compared_links import (
    DIRECTIONS,
    LEVEL_WORDS,
    NamedLink,
    PairComparison,
    RateComparison,
)
from linkfit.forecast.differences import Difference, judged
from linkfit.forecast.evaluation import stream_seed
from linkfit.forecast.rate_differences import RatePercentiles, rate_differences, rate_percentiles
from linkfit.forecast.telling_apart import measuring_to_tell
from linkfit.link.daily import UNMEASURED_SIGMA

if TYPE_CHECKING:
    from linkfit.link.futures import DirectionModel

_LIKE_HOURS = 0.5


def record_percentiles(one: NamedLink, index: int, seed: int) -> dict[str, RatePercentiles]:
    """The percentiles of each direction of `one` that can be compared."""
    found = {}
    for direction in DIRECTIONS:
        model: DirectionModel | None = getattr(one.link, direction)
        if model is not None and not model.lower_bound_only:
            rng = stream_seed(seed, "compare", str(index), direction)
            found[direction] = rate_percentiles(model, rng)
    return found


def compare_rates(
    first: NamedLink,
    second: NamedLink,
    rates: tuple[dict[str, RatePercentiles], dict[str, RatePercentiles]],
    rng: np.random.Generator,
) -> PairComparison:
    """The rates of two links, judged, and what to mind with them; without their sites."""
    cautions = []
    other_hours = set()
    found = {}
    for direction in DIRECTIONS:
        if direction not in rates[0] or direction not in rates[1]:
            continue
        models = first.link.direction(direction), second.link.direction(direction)
        hours_sigma = 0.0
        if _at_other_hours(*models):
            hours_sigma = math.hypot(_hours_sigma(models[0]), _hours_sigma(models[1]))
            other_hours.add(direction)
            cautions.append(
                f"{direction}: {first.name} and {second.name} were mostly measured at different "
                "hours of the day, so that much of a difference may be the hour's; measure both "
                "in turn"
            )
        found[direction] = rate_differences(
            rates[0][direction], rates[1][direction], rng, hours_sigma=hours_sigma
        )
    found = _judged_rates(found)
    return PairComparison(
        first=first.name,
        second=second.name,
        rates=tuple(
            _direction(d, found.get(d, ()), first, second, tellable=d not in other_hours)
            for d in DIRECTIONS
        ),
        cautions=tuple(cautions),
    )


def _judged_rates(found: dict[str, tuple[Difference, ...]]) -> dict[str, tuple[Difference, ...]]:
    """Levels of both directions judged together, and tails apart from them."""
    flat = [(d, one) for d, rows in found.items() for one in rows]
    real = {}
    for is_level in (True, False):
        family = [(d, one) for d, one in flat if (one.what in LEVEL_WORDS) == is_level]
        for (d, _), one in zip(family, judged([one for _, one in family]), strict=True):
            real[d, one.what] = one
    return {d: tuple(real[d, one.what] for one in rows) for d, rows in found.items()}


def _direction(
    direction: str,
    rows: tuple[Difference, ...],
    first: NamedLink,
    second: NamedLink,
    *,
    tellable: bool,
) -> RateComparison:
    """One direction with what would tell its levels apart."""
    if not rows:
        return RateComparison(direction=direction, why_not=_why_not(direction, first, second))
    compared = RateComparison(direction=direction, differences=rows)
    if not tellable or any(one.real for one in compared.level):  # hours: measure in turn first
        return compared
    models = first.link.direction(direction), second.link.direction(direction)
    return replace(compared, more_tests=measuring_to_tell(*models))


def _why_not(direction: str, *links: NamedLink) -> str:
    """Why a direction cannot be compared."""
    reasons = []
    for one in links:
        model: DirectionModel | None = getattr(one.link, direction)
        if model is None:
            reasons.append(f"never measured on {one.name}")
        elif model.lower_bound_only:
            reasons.append(f"only lower bounds of {one.name} are known")
    return "; ".join(reasons)


def _at_other_hours(first: "DirectionModel", second: "DirectionModel") -> bool:
    """Do two records with a time of day share less than half of their hours?"""
    if not (first.daily.n_days and second.daily.n_days):
        return False
    shares = [one.daily.measured_s / one.daily.measured_s.sum() for one in (first, second)]
    return float(np.minimum(*shares).sum()) < _LIKE_HOURS


def _hours_sigma(model: "DirectionModel") -> float:
    """Spread of log rate over the hours of the day. [1]"""
    daily = model.daily
    known = daily.factor[daily.measured_s > 0]
    return float(np.log(known).std()) if daily.found else UNMEASURED_SIGMA
