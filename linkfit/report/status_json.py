"""The state of a record as a record of keys in base units."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from linkfit.probe.status import LEVEL_PROB, Series, Status
from linkfit.units import SECONDS_PER_DAY

_QUANTILES = ("p05", "p50", "p95")


def status_record(status: Status) -> dict[str, Any]:
    """What a store tells of now; times are UTC, null is "not known" or "not in this cycle"."""
    return {
        "schema": "linkfit/status/1",
        "store": status.store,
        "now": _time(status.now_s),
        "interface": status.interface,
        "size_bytes": status.size_bytes,
        "first_sample": _time(status.first_s),
        "last_sample": _time(status.last_s),
        "last_round_trip": _time(status.last_round_trip_s),
        "last_test": _time(status.last_test_s),
        "events": status.n_events,
        "use": _use(status),
        "changes": [_series(series) for series in status.series],
        "false_alarm_prob": LEVEL_PROB,
        "refit": status.refit_since_s is not None,
        "refit_since": _time(status.refit_since_s),
    }


def _use(status: Status) -> dict[str, Any]:
    use, runs_out = status.use, status.exhaustion
    record: dict[str, Any] = {
        "cycle_begin": _time(use.begin_s),
        "cycle_end": _time(use.end_s),
        "down_bytes": use.down_bytes,
        "up_bytes": use.up_bytes,
        "tests_bytes": use.tests_bytes,
        "watched_frac": use.watched_frac,
        "counted": status.counted,
        "counted_bytes": use.counted_bytes(status.counted),
        "cap_bytes": status.cap_bytes,
        "n_whole_days": status.n_days,
        "cycle_bytes": None,
        "exhausted": None,
        "exhausted_prob": None,
    }
    if runs_out is None:
        return record
    when = [_time(status.now_s + days * SECONDS_PER_DAY) for days in runs_out.days]
    return record | {
        "cycle_bytes": _three(runs_out.total_bytes),
        "exhausted": dict(zip(_QUANTILES, when, strict=True)),
        "exhausted_prob": runs_out.prob,
    }


def _series(series: Series) -> dict[str, Any]:
    record: dict[str, Any] = {
        "name": series.name,
        "unit": series.unit,
        "n_days": series.n_days,
        "changed": None if series.change is None else series.has_changed,
        "p": None,
        "since": None,
        "before": None,
        "after": None,
    }
    if series.change is None:
        return record
    change = series.change
    return record | {
        "p": change.p,
        "since": _time(series.change_s),
        "before": _three(change.before),
        "after": _three(change.after),
    }


def _three(values: Sequence[float]) -> dict[str, float | None]:
    """5 %, median and 95 %; null where it is without end."""
    finite = [value if math.isfinite(value) else None for value in values]
    return dict(zip(_QUANTILES, finite, strict=True))


def _time(time_s: float | None) -> str | None:
    if time_s is None or not math.isfinite(time_s):
        return None
    return datetime.fromtimestamp(time_s, tz=UTC).isoformat(timespec="seconds")
