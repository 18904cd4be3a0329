"""The tests still needed, as a record."""

import math
from typing import Any

from linkfit.link.enough_tests import TESTS_PER_CELL
from linkfit.probe.further_tests import Asked, DirectionPlan, PartOfDay
from linkfit.units import DAYS_PER_MONTH

_MOST_OF_CAP_FRAC = 0.02  # what measuring may take of a data plan, common practice


def plan_tests_record(asked: Asked) -> dict[str, Any]:
    """What was asked for and the answer, keys in base units; counts are of tests and cells."""
    plan = asked.plan
    cost_bytes = dict(zip(("p05_bytes", "p50_bytes", "p95_bytes"), plan.cost_bytes, strict=True))
    return {
        "schema": "linkfit/plan-tests/1",
        "of": asked.of,
        "width_frac": asked.width_frac,
        "reached": plan.reached,
        "directions": [_direction(one) for one in plan.directions],
        "tests_per_cell": TESTS_PER_CELL,
        "n_days": plan.n_days,
        "timezone": asked.timezone,
        "parts": [_part(part) for part in plan.parts],
        "seconds": plan.seconds,
        "streams": list(plan.streams),
        "single_share_frac": plan.single_share_frac,
        "cost": cost_bytes,
        "budget": _budget(asked),
        "cap": _cap(asked),
    }


def _direction(plan: DirectionPlan) -> dict[str, Any]:
    found = plan.found
    now = None
    if found is not None:
        now = {
            "n_cells": found.n_cells, "cov": found.cov, "estimate_bps": found.estimate_bps,
            "low_bps": found.low_bps, "high_bps": found.high_bps, "width_frac": found.width_frac,
            "rank_low_bps": found.rank_low_bps, "rank_high_bps": found.rank_high_bps,
        }  # fmt: skip
    low, typical, high = plan.test_bytes
    return {
        "direction": plan.direction,
        "reached": plan.reached,
        "now": now,
        "cells_needed": {
            "p05": plan.wanted.p05, "p50": plan.wanted.p50, "p95": plan.wanted.p95,
            "without_model": plan.wanted.without_model,
        },
        "cells_more": {"p05": plan.more_p05, "p50": plan.more_p50, "p95": plan.more_p95},
        "tests_more": TESTS_PER_CELL * plan.more_p50,
        "test_cost": {"p05_bytes": low, "p50_bytes": typical, "p95_bytes": high},
        "n_outages": plan.n_outages,
    }  # fmt: skip


def _part(part: PartOfDay) -> dict[str, Any]:
    return {
        "name": part.name, "first_hour": part.first_hour, "days_measured": part.n_measured,
        "days_more": part.n_more, "at_hours": list(part.at_hours),
    }  # fmt: skip


def _budget(asked: Asked) -> dict[str, Any] | None:
    plan = asked.plan
    if asked.budget_bytes is None or plan.budget_width_frac is None:
        return None
    widths = [w if math.isfinite(w) else None for w in plan.budget_width_frac]
    ways = [one.direction for one in plan.directions]
    return {
        "budget_bytes": asked.budget_bytes,
        "cells": plan.budget_cells,
        "width_frac": dict(zip(ways, widths, strict=True)),
    }


def _cap(asked: Asked) -> dict[str, Any] | None:
    """Share of a cycle's data, and the days over which the tests stay below 2 % of it."""
    if asked.cap_bytes is None:
        return None
    share = asked.plan.cost_bytes[1] / asked.cap_bytes
    days = math.ceil(share / _MOST_OF_CAP_FRAC * DAYS_PER_MONTH)
    return {
        "cap_bytes": asked.cap_bytes,
        "share_frac": share,
        "days_at_2_percent": max(days, asked.plan.n_days),
    }
