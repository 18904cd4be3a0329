"""A tunnel as a record for --json."""

from typing import TYPE_CHECKING, Any

from linkfit.report.uploads_json import quantities

if TYPE_CHECKING:
    from linkfit.forecast.keepalive import HelloRow, KeepaliveForecast
    from linkfit.forecast.tunnel import TunnelSizes
    from linkfit.forecast.world_intervals import Estimate

SCHEMA = "linkfit/tunnel/1"


def tunnel_record(
    keepalive: "KeepaliveForecast",
    sizes: "TunnelSizes",
    safe: "TunnelSizes",
    *,
    seed: int,
    translated: tuple[bool | None, str] | None = None,
    cap_bytes: float | None = None,
) -> dict[str, Any]:
    """The record ``linkfit/tunnel/1``: seconds, bytes a month (30 days), counts a month."""
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "seed": seed,
        "transport": keepalive.transport,
        "ip_version": keepalive.ip_version,
        "direction": keepalive.direction,
        "hours_per_day": keepalive.hours_per_day,
        "nat_timer_s": keepalive.timer_s,
        "nat_timer_measured": keepalive.is_timer_measured,
        "loss": quantities(keepalive.loss, "frac") | {"source": keepalive.loss_source},
        "keepalive_s": keepalive.interval_s,
        "keepalive_one_lost_does_no_harm_s": keepalive.sturdy_interval_s,
        "cap_bytes": cap_bytes,
        "intervals": [_row(row) for row in keepalive.rows],
        "sizes": _sizes(sizes),
        "sizes_that_pass_everywhere": _sizes(safe),
    }
    if translated is not None:
        record["address_translation"] = {"found": translated[0], "why": translated[1]}
    return record


def _row(row: "HelloRow") -> dict[str, Any]:
    return {
        "interval_s": row.interval_s,
        "holds": row.holds,
        "month": quantities(row.use, "bytes"),
        **_estimate(row.prob, "expires", "prob"),
        **_estimate(row.expiries, "expires_a_month", "count"),
        **_estimate(row.unreachable_s, "unreachable_a_month", "s"),
    }


def _estimate(found: "Estimate", name: str, unit: str) -> dict[str, float]:
    return {
        f"{name}_{unit}": found.value,
        f"{name}_low_{unit}": found.low,
        f"{name}_high_{unit}": found.high,
    }


def _sizes(sizes: "TunnelSizes") -> dict[str, Any]:
    return {
        "link_mtu_bytes": sizes.mtu_bytes,
        "overhead_bytes": sizes.overhead_bytes,
        "inner_mtu_bytes": sizes.inner_mtu_bytes,
        "mss_ipv4_bytes": sizes.inner_mss_bytes(4),
        "mss_ipv6_bytes": sizes.inner_mss_bytes(6),
        "carries_ipv6": sizes.carries_ipv6,
        "overhead_frac": sizes.overhead_frac,
        "payload_frac": sizes.goodput_frac,
    }
