"""What holds a backlog back, step by step, and which of it decides when it is done."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.drain import CycleCap, finish_days
from linkfit.forecast.items import items_per_s, restart_factor
from linkfit.site.model import Backlog
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEPS_PER_DAY = 24
LEAST_SHARE_FRAC = 0.1  # assumption: busy services leave a backlog a tenth of the link
CONSTRAINTS = ("data plan", "hours", "per-item cost", "path limit", "rate limit", "rate")


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One backlog with all that holds it back, ready to be eased one constraint at a time."""

    backlog: Backlog
    world: "NDArray[np.int32]"
    rate_bps: "NDArray[np.float64]"  # (d, t): the slower direction, before services
    load_bps: float
    open_frac: "NDArray[np.float64]"  # (d or 1, t): part of each step with power and in hours
    wire_factor: "NDArray[np.float64]"  # (d,): IP-layer bytes for a payload byte
    counted_factor: "NDArray[np.float64]"
    heap_bytes: "NDArray[np.float64]"  # (d,): payload, with what goes first
    breaks_per_h: "NDArray[np.float64]"  # (d,): of transfers that cannot resume
    per_item_s: float
    rate_limit_bps: float
    cap_bytes: float
    throttle_bps: float
    others_bytes: "NDArray[np.float64]"
    n_first: int

    def days(self) -> "NDArray[np.float64]":
        """Days until it is done, shape (d,)."""
        open_bytes = self._payload_bytes(math.inf)
        cap = None
        if math.isfinite(self.cap_bytes):
            cap = CycleCap(
                cap_bytes=self.cap_bytes,
                counted_factor=self.counted_factor,
                others_bytes=self.others_bytes,
                after_bytes=self._payload_bytes(self.throttle_bps)
                if self.throttle_bps
                else np.zeros_like(open_bytes),
            )
        return finish_days(
            open_bytes,
            step_days=1 / STEPS_PER_DAY,
            heap_bytes=self.heap_bytes,
            arrivals_bytes_per_day=self.backlog.arrivals_per_day * self.backlog.size.mean_bytes,
            cap=cap,
            n_first=self.n_first,
        )

    def _payload_bytes(self, throttle_bps: float) -> "NDArray[np.float64]":
        """Payload each step can move with the link held to `throttle_bps`; shape (d, t)."""
        there = np.minimum(self.rate_bps, throttle_bps)
        left = np.maximum(there - self.load_bps, LEAST_SHARE_FRAC * there)
        left = np.minimum(left, self.rate_limit_bps)
        payload_bps = left / self.wire_factor[:, None]
        item_bits = self.backlog.size.mean_bytes * BITS_PER_BYTE
        waste = restart_factor(
            self.backlog, payload_bps.mean(axis=1), self.per_item_s, self.breaks_per_h
        )
        items = items_per_s(payload_bps, item_bits, self.per_item_s, self.backlog.n_parallel)
        per_step = items * self.backlog.size.mean_bytes * SECONDS_PER_DAY / STEPS_PER_DAY
        return per_step * self.open_frac / waste[:, None]

    def eased(self, constraint: str) -> "Case":
        """The case without `constraint`; for "rate" with a link twice as fast."""
        if constraint == "rate":
            return replace(self, rate_bps=2 * self.rate_bps)
        if constraint == "data plan":
            return replace(self, cap_bytes=math.inf)
        if constraint == "hours":
            return replace(self, open_frac=np.ones_like(self.open_frac))
        if constraint == "per-item cost":
            return replace(self, per_item_s=0.0)
        if constraint == "rate limit":
            return replace(self, rate_limit_bps=math.inf)
        return replace(self, breaks_per_h=np.zeros_like(self.breaks_per_h))

    def present(self) -> tuple[str, ...]:
        """The constraints that this case has at all."""
        there = {
            "data plan": math.isfinite(self.cap_bytes),
            "hours": bool((self.open_frac < 1).any()),
            "per-item cost": self.per_item_s > 0,
            "path limit": bool((self.breaks_per_h > 0).any()),
            "rate limit": math.isfinite(self.rate_limit_bps),
            "rate": True,
        }
        return tuple(name for name in CONSTRAINTS if there[name])


def binding_shares(case: Case, base_days: "NDArray[np.float64]") -> Mapping[str, float]:
    """Share of futures in which easing each constraint saves most days."""
    names = case.present()
    saved = np.empty((len(names), base_days.size))
    for index, name in enumerate(names):
        eased = case.eased(name).days()
        # between two that only one of the changes ends, the sooner end is the larger gain
        with np.errstate(invalid="ignore"):
            gain = np.where(np.isinf(base_days), 1e12 - eased, base_days - eased)
        saved[index] = np.where(np.isinf(eased), 0.0, gain)
    best = np.where(saved.max(axis=0) > 0, saved.argmax(axis=0), len(names) - 1)
    shares = np.bincount(best, minlength=len(names)) / base_days.size
    return {name: float(share) for name, share in zip(names, shares, strict=True) if share > 0}
