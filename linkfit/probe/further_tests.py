"""Which tests to run next: how many, at which hours, how long, and what they cost."""

import math
from dataclasses import dataclass, replace

from linkfit._checks import count, positive
from linkfit.errors import InputError
from linkfit.link.enough_tests import (
    PRIOR_COV,
    TESTS_PER_CELL,
    Known,
    Need,
    known,
    log_sigma,
    more_cells,
    quantile_factor,
    seconds_of_a_test,
)
from linkfit.link.measured_cells import PART_H, PARTS, Measured
from linkfit.probe.budget import cost_bytes

_SEVERAL = 4
_ALIKE_FRAC = 0.9  # one stream that gets this much of what several get tells of the link, too
_Z = 1.959963984540054  # 97.5 % of the normal law


@dataclass(frozen=True, slots=True, kw_only=True)
class PartOfDay:
    """How many days one part of the day was and shall be measured, at which full hours."""

    name: str
    first_hour: int
    n_measured: int
    n_more: int
    at_hours: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectionPlan:
    """Tests of one direction: cells there are and needed, what one costs, and the interval now.

    `more_p05`, `more_p50`, `more_p95` are further cells, over what is unknown of the spread.
    `test_bytes` is what one test costs at the rates measured (5th, 50th, 95th percentile).
    """

    direction: str
    found: Known | None
    wanted: Need
    reached: bool
    more_p05: int
    more_p50: int
    more_p95: int
    test_bytes: tuple[float, float, float]
    n_outages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherTests:
    """The plan. `cost_bytes` has the 5th, 50th and 95th percentile; both directions together.

    `budget_cells` is how many cells a budget pays for and `budget_width_frac` the width they
    bring, by direction in the order of `directions` (None without a budget).
    """

    directions: tuple[DirectionPlan, ...]
    parts: tuple[PartOfDay, ...]
    n_days: int
    seconds: int
    streams: tuple[int, ...]
    single_share_frac: float | None
    cost_bytes: tuple[float, float, float]
    budget_cells: int | None = None
    budget_width_frac: tuple[float, ...] | None = None

    @property
    def reached(self) -> bool:
        """Is the interval of every direction as narrow as wanted?"""
        return all(plan.reached for plan in self.directions)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The plan and what was asked for: width, quantile, zone of the hours, budget and cap."""

    plan: FurtherTests
    width_frac: float
    of: str
    timezone: str
    budget_bytes: float | None = None
    cap_bytes: float | None = None


def plan_further_tests(
    measured: tuple[Measured, ...],
    width_frac: float,
    *,
    of: str = "median",
    seconds: int | None = None,
    rtt_s: float | None = None,
    guessed_bps: dict[str, float] | None = None,
    budget_bytes: float | None = None,
) -> FurtherTests:
    """Tests that bring the interval of each direction to `width_frac`.

    Parameters
    ----------
    measured : tuple of Measured
        One for each direction.
    width_frac : float
        How far the 95 % interval may reach, as a fraction of the estimate.
    of : {"median", "p05"}
        What shall be known so well.
    seconds : int, optional
        Length of one test; from the round trip if not given. [s]
    rtt_s : float, optional
        Round trip of the idle link. [s]
    guessed_bps : dict, optional
        Rates to reckon the cost with, by direction, where nothing is measured. [bit/s]
    budget_bytes : float, optional
        What all of them may cost: tells how far it gets. [bytes]

    Raises
    ------
    InputError
        If a direction was neither measured nor guessed.
    """
    length = seconds_of_a_test(rtt_s) if seconds is None else count("seconds", seconds, least=2)
    plans = tuple(
        _direction(one, width_frac, of, length, (guessed_bps or {}).get(one.direction))
        for one in measured
    )
    parts = _parts(measured, max(plan.more_p50 for plan in plans))
    shares = [m.single_share_frac for m in measured if m.single_share_frac is not None]
    share = min(shares, default=None)
    made = FurtherTests(
        directions=plans, parts=parts, n_days=max(part.n_more for part in parts), seconds=length,
        streams=(1, 1) if share is not None and share >= _ALIKE_FRAC else (1, _SEVERAL),
        single_share_frac=share, cost_bytes=_costs(plans),
    )  # fmt: skip
    return made if budget_bytes is None else _within(made, positive("budget", budget_bytes), of)


def _direction(
    measured: Measured, width_frac: float, of: str, seconds: int, guessed_bps: float | None
) -> DirectionPlan:
    rates = measured.rates_bps
    more = more_cells(rates, width_frac, of=of)
    middle = known(rates)
    if middle is not None:
        spread = math.exp(1.645 * log_sigma(middle.cov))
        rate_bps = middle.estimate_bps
        bps = (rate_bps / spread, rate_bps, rate_bps * spread)
    elif guessed_bps is not None:
        bps = (positive(f"--{measured.direction}", guessed_bps),) * 3
    else:
        raise InputError(
            f"{measured.direction}: expected measurements with a time of day or a rate, got none; "
            f"give the rate that you suppose, --{measured.direction} '6 Mbit/s'"
        )
    low, typical, high = (cost_bytes(rate_bps, seconds) for rate_bps in bps)
    return DirectionPlan(
        direction=measured.direction, found=more.found, wanted=more.wanted, reached=more.reached,
        more_p05=more.n_p05, more_p50=more.n_p50, more_p95=more.n_p95,
        test_bytes=(low, typical, high), n_outages=measured.n_outages,
    )  # fmt: skip


def _parts(measured: tuple[Measured, ...], n_more: int) -> tuple[PartOfDay, ...]:
    """Further cells by part of the day: always to the one with the fewest."""
    have = [min(one.n_in_part(part) for one in measured) for part in range(len(PARTS))]
    given = [0] * len(PARTS)
    for _ in range(n_more):
        # the evening first among equals: it is the slow one mostly, common practice
        part = min(range(len(PARTS)), key=lambda p: (have[p] + given[p], -p))
        given[part] += 1
    n_by_hour = [sum(one.n_by_hour[hour] for one in measured) for hour in range(24)]
    return tuple(
        PartOfDay(
            name=name, first_hour=part * PART_H, n_measured=have[part], n_more=given[part],
            at_hours=_hours(n_by_hour, part * PART_H) if given[part] else (),
        )
        for part, name in enumerate(PARTS)
    )  # fmt: skip


def _hours(n_by_hour: list[int], first_hour: int) -> tuple[int, ...]:
    """Two hours of a part of the day, one in each half, the least measured of it."""
    half = PART_H // TESTS_PER_CELL
    return tuple(
        min(range(start, start + half), key=lambda hour: (n_by_hour[hour], hour))
        for start in range(first_hour, first_hour + PART_H, half)
    )


def _costs(plans: tuple[DirectionPlan, ...]) -> tuple[float, float, float]:
    """Of all further tests, over what is unknown of how many there must be. [bytes]"""
    # tests of many hours average out, so each costs what a typical one does
    each = [TESTS_PER_CELL * plan.test_bytes[1] for plan in plans]
    return (
        sum(c * plan.more_p05 for c, plan in zip(each, plans, strict=True)),
        sum(c * plan.more_p50 for c, plan in zip(each, plans, strict=True)),
        sum(c * plan.more_p95 for c, plan in zip(each, plans, strict=True)),
    )


def _within(made: FurtherTests, budget_bytes: float, of: str) -> FurtherTests:
    cell_bytes = sum(TESTS_PER_CELL * plan.test_bytes[1] for plan in made.directions)
    n_cells = int(budget_bytes // cell_bytes)
    widths = tuple(
        _width_frac(plan, n_cells, of) for plan in made.directions
    )  # fmt: skip
    return replace(made, budget_cells=n_cells, budget_width_frac=widths)


def _width_frac(plan: DirectionPlan, n_more: int, of: str) -> float:
    """Width to expect with `n_more` cells; infinite where there are none at all."""
    n = n_more + (0 if plan.found is None else plan.found.n_cells)
    if not n:
        return math.inf
    sigma = log_sigma(PRIOR_COV if plan.found is None else plan.found.cov)
    return math.expm1(_Z * quantile_factor(of) * sigma / math.sqrt(n))
