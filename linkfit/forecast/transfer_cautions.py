"""What a transfer's forecast cannot know from what was measured, in plain sentences."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.latency import PRIOR_MEDIAN_RTT_S
from linkfit.units import format_duration

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.link.model import LinkModel

_FEW_S = 3600.0  # outages of a cellular link come minutes to hours apart; a judgement


def transfer_cautions(
    link: "LinkModel",
    forecast: "Forecast",
    *,
    direction: str,
    hour: float | None = None,
    rtt_assumed: bool = False,
) -> tuple[str, ...]:
    """Cautions on `forecast`, a transfer over `direction` of `link`.

    Parameters
    ----------
    hour : float, optional
        Local hour of the day that was asked for. [h]
    rtt_assumed : bool
        Round trips of cellular links in general stand for those of this link.
    """
    model = link.direction(direction)
    found = []
    if rtt_assumed:
        found.append(
            "No round trip of this link was measured: those of cellular links in general are "
            f"assumed, {format_duration(PRIOR_MEDIAN_RTT_S)} in the median; give a measured one."
        )
    median_s = float(forecast.quantile(0.5))
    measured = f"{format_duration(model.measured_s)} of {direction} link"
    if np.isfinite(median_s) and median_s > model.measured_s:
        found.append(
            f"This takes longer than all that was measured ({measured}): what the link does over "
            "hours is assumed to be like that record, with the spread that other links show."
        )
    if model.marginal.outages.n_outages == 0 and model.measured_s < min(_FEW_S, median_s):
        found.append(
            f"No outage was seen in {measured}, so none is counted, though one may come: leave "
            "time for it, and send what can go on where it stopped."
        )
    if hour is not None and model.daily.measured_s[int(hour) % 24] == 0:
        found.append(_hour_caution(int(hour) % 24, model.daily.n_days, model.daily.timezone))
    return tuple(found)


def _hour_caution(hour: int, n_days: int, timezone: str) -> str:
    if n_days == 0:
        return (
            "No time of day is known of what was measured: the hour asked for only widens the "
            "forecast."
        )
    return (
        f"Nothing was measured from {hour}:00 to {hour + 1}:00 ({timezone}): the forecast takes "
        "what other hours show and is wider for it."
    )
