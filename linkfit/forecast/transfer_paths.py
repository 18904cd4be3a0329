"""Futures long enough for one transfer, at a cost that does not grow with it for ever."""

from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import InputError
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

LONGEST_S = 30 * SECONDS_PER_DAY  # beyond it the plan and the hours decide, not the transfer
# Two days hold every hour twice and average seconds, outages and slow swings of two hours away
# to a few percent: a longer future is these two days over and over, so its interval is no
# narrower than that of two days
MOST_HORIZON_S = 2 * SECONDS_PER_DAY
_LEAST_STEP_S = 1.0
_LEAST_HORIZON_S = 120.0
_FINE_STEPS = 600  # steps of a path: 2000 paths take 10 MB
_PILOT_DRAWS = 40
_MOST_TRIES = 6
_LATE_FRAC = 0.002  # so few draws may outlive their path and start it again


def lasting_paths(
    link: "LinkModel",
    *,
    direction: str,
    wire_bits: float,
    n_draws: int,
    rng: "Generator",
    idle_s: float = 0.0,
    asked: "Mapping[str, Any] | None" = None,
) -> "CapacityPaths":
    """Paths so long that (nearly) all draws end before their path starts again.

    Parameters
    ----------
    wire_bits : float
        What the link has to carry, headers included. [bits]
    idle_s : float
        Time besides in which nobody sends. [s]
    asked : mapping, optional
        Further arguments of `LinkModel.paths`: hour, recent, recent_age_s, n_worlds.

    Raises
    ------
    FitError
        If the direction was never measured.
    InputError
        If the link needs more than `LONGEST_S` for it in the mean.

    Notes
    -----
    A few pilot paths find the length; the full set then shows its own stragglers. Paths are at
    most `MOST_HORIZON_S` long: what takes longer meets its own first days again.
    """
    rate_bps = max(link.direction(direction).mean_rate_bps, 1.0)
    expected_s = wire_bits / rate_bps + idle_s
    if expected_s > LONGEST_S:
        raise InputError(
            f"size_bytes: expected a payload that this link moves within "
            f"{LONGEST_S / SECONDS_PER_DAY:g} days, got {wire_bits / BITS_PER_BYTE:g} bytes on "
            "the wire; give it as a backlog of the site, which knows plan and hours too"
        )
    needed_bits = wire_bits + idle_s * rate_bps
    horizon_s = min(max(4.0 * expected_s, _LEAST_HORIZON_S), MOST_HORIZON_S)
    n_try = min(_PILOT_DRAWS, n_draws)
    for _ in range(_MOST_TRIES):
        step_s = max(_LEAST_STEP_S, float(np.ceil(horizon_s / _FINE_STEPS)))
        paths = link.paths(
            direction, horizon_s=horizon_s, n_draws=n_try, rng=rng, step_s=step_s, **asked or {}
        )
        late = paths.cumulative_bits[:, -1] < needed_bits
        # a path that carries nothing at all would never end, however often it starts again
        dead = bool((paths.cumulative_bits[:, -1] <= 0).any())
        full = horizon_s >= MOST_HORIZON_S and not dead
        enough = full or (float(late.mean()) <= _LATE_FRAC and not dead)
        if enough and n_try == n_draws:
            break
        horizon_s *= 1.0 if enough else 3.0
        if not dead:
            horizon_s = min(horizon_s, MOST_HORIZON_S)
        n_try = n_draws if enough else n_try
    return paths
