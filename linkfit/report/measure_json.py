"""A session of tests as a record: what was measured, what it cost, what is in the way."""

from datetime import UTC, datetime
from typing import Any

import numpy as np

from linkfit.probe.session import Session, TestDone
from linkfit.probe.tested_rates import datagrams_of, rates_tested_bps


def measure_record(session: Session, folder: str) -> dict[str, Any]:
    """What a session found, keys in base units."""
    return {
        "schema": "linkfit/measure/1",
        "server": session.plan.host,
        "port": session.plan.port,
        "ended": session.ended,
        "folder": folder,
        "budget_bytes": session.plan.budget_bytes,
        "spent_bytes": session.spent_bytes,
        "interface": session.interface,
        "tests": [_test(done) for done in session.tests],
        "tests_not_run": session.n_not_run,
        "round_trips": {
            "by": session.probed_by,
            "idle": _trips(session, loaded=False),
            "busy": _trips(session, loaded=True),
        },
        "translation": {
            "kind": session.translation.kind,
            "own_address": session.translation.own_address,
            "seen_address": session.translation.seen_address,
            "wan_address": session.translation.wan_address,
            "text": session.translation.text,
        },
        "path_mtu": _path_mtu(session),
        "nat_timer": _nat_timer(session),
        "fault": session.fault or None,
    }


def _path_mtu(session: Session) -> dict[str, Any]:
    """Largest packet towards the server, and what tells it."""
    found = session.path_mtu
    if found is None:
        return {"bytes": session.believed_mtu_bytes, "by": "tcp", "silent": None}
    return {"bytes": found.mtu_bytes, "by": "ping", "silent": found.silent}


def _nat_timer(session: Session) -> dict[str, Any] | None:
    timer = session.nat_timer
    if timer is None:
        return None
    return {"kept_s": timer.kept_s, "gone_s": timer.gone_s, "text": timer.text}


def _test(done: TestDone) -> dict[str, Any]:
    order, outcome = done.outcome.order, done.outcome
    return {
        "start": datetime.fromtimestamp(done.start_s, tz=UTC).isoformat(timespec="seconds"),
        "direction": "up" if order.is_up else "down",
        "transport": "tcp" if order.udp_rate_bps is None else "udp",
        "n_streams": order.n_streams,
        "ended": outcome.ended,
        "by": outcome.by,
        "took_s": round(outcome.took_s, 3),
        "spent_bytes": done.spent_bytes,
        "error": outcome.error,
        **_rates(outcome.report),
        "datagrams": _datagrams(done),
    }


def _datagrams(done: TestDone) -> dict[str, Any] | None:
    if done.outcome.order.udp_rate_bps is None:
        return None
    found = datagrams_of(done.outcome.report)
    return None if found is None else {"jitter_s": found.jitter_s, "loss_frac": found.loss_frac}


def _rates(report: str) -> dict[str, Any]:
    """5th, 50th and 95th percentile over the seconds of one test, None where it has none."""
    rates_bps = rates_tested_bps(report)
    if not rates_bps.size:
        return {"n_samples": 0, "p05_bps": None, "p50_bps": None, "p95_bps": None}
    low, middle, high = np.quantile(rates_bps, [0.05, 0.5, 0.95]).tolist()
    return {"n_samples": rates_bps.size, "p05_bps": low, "p50_bps": middle, "p95_bps": high}


def _trips(session: Session, *, loaded: bool) -> dict[str, Any]:
    """Percentiles of the probes that came back, and how many did not."""
    rtts_s = np.array([t.rtt_s for t in session.round_trips if t.loaded == loaded])
    back_s = rtts_s[np.isfinite(rtts_s)]
    record: dict[str, Any] = {"n_probes": rtts_s.size, "n_lost": int(rtts_s.size - back_s.size)}
    names = ("p05_s", "p50_s", "p95_s")
    if not back_s.size:
        return record | dict.fromkeys(names)
    return record | dict(zip(names, np.quantile(back_s, [0.05, 0.5, 0.95]).tolist(), strict=True))
