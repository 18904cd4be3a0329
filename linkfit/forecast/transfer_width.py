"""What the width of a transfer's forecast is made of, by drawing again with one source still."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.draws import INTERVAL_LEVELS
from linkfit.link.level import LevelSpread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

LINK_ITSELF = "the link itself"
LITTLE_MEASURED = "few measurements and drift"
ROUND_TRIPS = "round trips"


def settled(link: "LinkModel", direction: str) -> "LinkModel":
    """`link` as if its record told the level of `direction` for good."""
    model = link.direction(direction)
    known = replace(model, level=LevelSpread(unknown_sigma=0.0, chance_sigma=0.0))
    return replace(link, up=known) if direction == "up" else replace(link, down=known)


def width_shares(
    times_s: "NDArray[np.float64]",
    one_round_trip_s: "NDArray[np.float64]",
    settled_s: "NDArray[np.float64]",
) -> dict[str, float]:
    """Shares of the width of `times_s` by source; they add up to 1.

    Parameters
    ----------
    times_s : array, shape (d,)
        The forecast. [s]
    one_round_trip_s : array, shape (d,)
        The same futures, each with the median round trip. [s]
    settled_s : array, shape (d,)
        Futures of the settled link in one world. [s]

    Returns
    -------
    shares : dict
        Of `LITTLE_MEASURED`, `ROUND_TRIPS` and `LINK_ITSELF`; empty where the forecast has no
        width, or may never end.

    Notes
    -----
    Width is ``log(p95 / p05)``, and its square is shared out as a variance would be: a source's
    part is what the square loses when that source is held still, at least 0, and the rest is the
    link itself: what seconds, minutes and outages do in futures of a link that is known. Few
    measurements and drift hold both what is unknown of the level and the slow swings that a
    short record has missed; held still together with the worlds' own weights of the record. With
    2000 draws a share is sure to some 5 % of the whole.
    """
    whole, same_trips, known = (
        _squared_width(draws) for draws in (times_s, one_round_trip_s, settled_s)
    )
    if not 0 < whole < np.inf or not np.isfinite(known + same_trips):
        return {}
    parts = {
        LITTLE_MEASURED: max(whole - known, 0.0),
        ROUND_TRIPS: max(whole - same_trips, 0.0),
    }
    parts[LINK_ITSELF] = max(whole - sum(parts.values()), 0.0)
    total = sum(parts.values())
    return {name: part / total for name, part in parts.items()}


def _squared_width(draws_s: "NDArray[np.float64]") -> float:
    low_s, high_s = np.quantile(draws_s, INTERVAL_LEVELS, method="inverted_cdf")
    if not 0 < low_s <= high_s < np.inf:
        return float("inf")
    return float(np.log(high_s / low_s) ** 2)
