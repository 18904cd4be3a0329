"""Streams as a record for --json; a picture that never comes is null."""

import math
from typing import TYPE_CHECKING, Any

from linkfit.report.wording import QUANTILES

if TYPE_CHECKING:
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.stream_forecast import StreamAnswer, StreamForecast

SCHEMA = "linkfit/streams/1"


def streams_record(found: "StreamForecast", *, seed: int) -> dict[str, Any]:
    """The record ``linkfit/streams/1``: shares of sessions, times [s], rates [bit/s]."""
    return {
        "schema": SCHEMA,
        "seed": seed,
        "direction": "up",
        "hour": found.hour,
        "is_floor": found.is_floor,
        "wanted_prob": found.wanted_prob,
        "load_bps": found.load_bps,
        "cap_bytes": found.cap_bytes,
        "hours_assumed": found.hours_assumed,
        "films": {
            "session_s": found.session_s,
            "good": "never stands still",
            "streams": [
                _answer(one, found.wanted_prob) | _starts(one, found) for one in found.films
            ],
        },
        "cameras": {
            "session_s": found.live_session_s,
            "good": "stands still for at most a twentieth of the time",
            "streams": [
                _answer(one, found.wanted_prob)
                | {"month": _month(one.month), "month_alone": _month(one.month_alone)}
                for one in found.feeds
            ],
        },
    }


def _answer(one: "StreamAnswer", wanted_prob: float) -> dict[str, Any]:
    return {
        "name": one.name,
        "rate_bps": one.rate_bps,
        "good_share": one.good.value,
        "good_share_low": one.good.low,
        "good_share_high": one.good.high,
        "mean_still_s_per_hour": float(one.still_s_per_hour.draws.mean()),
        "still_s_per_hour": _quantiles(one.still_s_per_hour),
        "first_picture": _quantiles(one.wait_s),
        "n_at_once": one.n_most,
        "n_at_once_low": one.n_low,
        "n_at_once_high": one.n_high,
        "verdict": one.verdict(wanted_prob),
    }


def _starts(film: "StreamAnswer", found: "StreamForecast") -> dict[str, float]:
    starts = found.starts_per_h(film)
    return {
        "starts_per_h": starts.value,
        "starts_per_h_low": starts.low,
        "starts_per_h_high": starts.high,
    }


def _month(forecast: "Forecast | None") -> dict[str, float | None] | None:
    return None if forecast is None else _quantiles(forecast)


def _quantiles(forecast: "Forecast") -> dict[str, float | None]:
    values = [float(q) for q in forecast.quantile(QUANTILES)]
    return {
        f"p{round(level * 100):02d}_s": value if math.isfinite(value) else None
        for level, value in zip(QUANTILES, values, strict=True)
    }
