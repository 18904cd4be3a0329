"""How often a tunnel must say hello so that the carrier's translation keeps its mapping.

An idle tunnel is looked at: any packet outwards refreshes the mapping as well (RFC 4787 REQ-6).
"""

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import non_negative, one_of, positive
from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.latency import ENOUGH_PROBES
from linkfit.units import DAYS_PER_MONTH, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

TRANSPORTS = ("udp", "tcp")
LEAST_INTERVAL_S = 15.0  # no more often than this (RFC 8085 section 3.5)
LEAST_TIMER_S = {"udp": 120.0, "tcp": 7440.0}  # RFC 4787 REQ-5, RFC 5382 REQ-5
USUAL_TIMER_S = 300.0  # what RFC 4787 REQ-5 recommends for UDP, or more
# common practice where nobody measured the timer
ASSUMED_TIMER_S = {"udp": 30.0, "tcp": 60.0}
START_INTERVAL_S = {"udp": 25.0, "tcp": 30.0}
_TIMER_FRAC = 0.8  # common practice: the interval as a part of a measured timer
_PACKET_BYTES = {("udp", 4): 60.0, ("udp", 6): 80.0, ("tcp", 4): 60.0, ("tcp", 6): 80.0}
_PACKETS_UP = {"udp": 1, "tcp": 2}  # a beat over TCP: message and acknowledgement each way
_PACKETS_DOWN = {"udp": 0, "tcp": 2}
REKEY_BYTES_PER_MONTH = 8e6  # common practice: a UDP tunnel changes keys each two minutes
_USUAL_INTERVALS_S = (15.0, 25.0, 60.0, 120.0, 300.0)
_HORIZON_S = 4 * SECONDS_PER_HOUR
_DEAD_BPS = 1.0
# where loss was not measured: half a percent, nine in ten links between 0.08 and 3 % (a guess)
_PRIOR_LOSS_FRAC, _PRIOR_LOSS_SPREAD = 0.005, 3.0
_CLOSE = 1e-9  # a hello that is due as the timer ends comes too late
_AT_MOST = 3.0  # of a kind never seen, 95 %: the rule of three
_PROBE_STEP_S = 1.0  # taken as the distance of the probes behind the loss bursts


@dataclass(frozen=True, slots=True, kw_only=True)
class HelloRow:
    """One interval: bytes a month, how often the mapping expires, for how long it is gone.

    `use` has unit "bytes" (a month of idle tunnel, up and down together); `expiries` counts
    a month, `unreachable_s` is the time a month in which nothing from outside gets in, and
    `prob` the chance that the mapping expires before the next hello gets through. `holds` is
    False where even without loss it expires each time.
    """

    interval_s: float
    use: Forecast
    prob: Estimate
    expiries: Estimate
    unreachable_s: Estimate
    holds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepaliveForecast:
    """All intervals of one tunnel on one link, and the one to use.

    `sturdy_interval_s` is the one at which a single lost hello does no harm. `loss` has unit
    "fraction"; `loss_source` says where it comes from.
    """

    transport: str
    ip_version: int
    timer_s: float
    is_timer_measured: bool
    interval_s: float
    sturdy_interval_s: float
    loss: Forecast
    loss_source: str
    direction: str
    hours_per_day: float
    rows: tuple[HelloRow, ...]

    @property
    def row(self) -> HelloRow:
        """The row of the interval to use."""
        return next(row for row in self.rows if row.interval_s == self.interval_s)

    @property
    def sturdy_row(self) -> HelloRow:
        """The row of the interval that survives one lost hello."""
        return next(row for row in self.rows if row.interval_s == self.sturdy_interval_s)


def keepalive_interval_s(timer_s: float | None, transport: str = "udp") -> float:
    """Interval for a timer as measured; where nobody measured it, that of common practice. [s]

    Notes
    -----
    0.8 of the timer, in whole seconds where that leaves at least 1, but never below 15 s
    (RFC 8085 section 3.5) while the timer allows 15 s.
    """
    one_of("transport", transport, TRANSPORTS)
    if timer_s is None:
        return START_INTERVAL_S[transport]
    wanted = _TIMER_FRAC * positive("timer", timer_s)
    if wanted < LEAST_INTERVAL_S <= timer_s:
        return LEAST_INTERVAL_S
    return float(np.floor(wanted)) if wanted >= 1 else wanted


def sturdy_interval_s(timer_s: float) -> float:
    """Largest interval at which one lost hello leaves the mapping, with a tenth to spare. [s]"""
    wanted = positive("timer", timer_s) * _TIMER_FRAC / 2
    return float(np.floor(wanted)) if wanted >= 1 else wanted


def hello_bytes(transport: str = "udp", ip_version: int = 4) -> tuple[float, float]:
    """Bytes of one hello up and down, IP header included. [bytes]

    Notes
    -----
    UDP: IP header, 8 of UDP and 32 of an empty encrypted message, outwards only. TCP: a message
    and its acknowledgement each way, about 60 bytes each over IPv4 (a lower bound).
    """
    if (one_of("transport", transport, TRANSPORTS), ip_version) not in _PACKET_BYTES:
        raise InputError(f"ip_version: expected 4 or 6, got {ip_version!r}")
    packet_bytes = _PACKET_BYTES[transport, ip_version]
    return _PACKETS_UP[transport] * packet_bytes, _PACKETS_DOWN[transport] * packet_bytes


def monthly_bytes(
    interval_s: float, *, transport: str = "udp", ip_version: int = 4, hours_per_day: float = 24.0
) -> float:
    """Hellos of 30 days, both directions. [bytes]"""
    n_hellos = DAYS_PER_MONTH * hours_per_day * SECONDS_PER_HOUR / positive("interval", interval_s)
    return n_hellos * sum(hello_bytes(transport, ip_version))


def forecast_keepalive(
    link: "LinkModel",
    *,
    timer_s: float | None = None,
    transport: str = "udp",
    ip_version: int = 4,
    present_s: float | None = None,
    hours_per_day: float = 24.0,
    seed: int = 0,
    n_rows: int = 160,
) -> KeepaliveForecast:
    """What each keepalive interval costs and how often the mapping is lost, on `link`.

    Parameters
    ----------
    link : LinkModel
        Its outages and its loss of single probes.
    timer_s : float, optional
        How long the carrier keeps a silent mapping, as measured; assumed if not given. [s]
    present_s : float, optional
        The interval in use, shown beside the others. [s]
    hours_per_day : float
        Hours in which the server is up. [h]

    Notes
    -----
    Hellos are sent over the futures of the link's up direction: lost in a second that carries
    nothing, and else by a chain of two states with the measured loss and burst length. Over TCP
    lost hellos are sent again at once, so that only outages count.
    """
    one_of("transport", transport, TRANSPORTS)
    timer = ASSUMED_TIMER_S[transport] if timer_s is None else positive("nat_timer", timer_s)
    direction = "up" if link.up is not None else "down"
    paths = link.paths(direction, horizon_s=_HORIZON_S, n_draws=n_rows, rng=_rng(seed, "paths"))
    loss, correlation, source = _loss(link, paths, _rng(seed, "loss"))
    if transport == "tcp":
        loss = np.zeros(loss.shape)
    wanted = keepalive_interval_s(timer_s, transport)
    sturdy = sturdy_interval_s(timer)
    intervals = {*_USUAL_INTERVALS_S, wanted, sturdy}
    if present_s is not None:
        intervals.add(positive("keepalive", present_s))
    up_bytes = {
        s: monthly_bytes(s, transport=transport, ip_version=ip_version, hours_per_day=hours_per_day)
        for s in intervals
    }
    rekey_bytes = REKEY_BYTES_PER_MONTH * hours_per_day / 24 if transport == "udp" else 0.0
    rekeyed = np.linspace(0.0, rekey_bytes, 101)
    rows = tuple(
        _row(
            paths, interval_s, timer, loss, correlation**interval_s,
            up_bytes[interval_s] + rekeyed, hours_per_day, _rng(seed, "hellos"),
        )
        for interval_s in sorted(intervals)
    )  # fmt: skip
    return KeepaliveForecast(
        transport=transport,
        ip_version=ip_version,
        timer_s=timer,
        is_timer_measured=timer_s is not None,
        interval_s=wanted,
        sturdy_interval_s=sturdy,
        loss=Forecast(draws=loss, unit="fraction", world=paths.world),
        loss_source=source,
        direction=direction,
        hours_per_day=hours_per_day,
        rows=rows,
    )


def _row(
    paths: "CapacityPaths",
    interval_s: float,
    timer_s: float,
    loss_frac: "NDArray[np.float64]",
    correlation: float,
    use_bytes: "NDArray[np.float64]",
    hours_per_day: float,
    rng: "Generator",
) -> HelloRow:
    """One interval over all futures."""
    n_expired, gone_s, n_hellos = hello_gaps(
        paths, interval_s=interval_s, timer_s=timer_s, loss_frac=loss_frac,
        correlation=correlation, rng=rng,
    )  # fmt: skip
    per_month = DAYS_PER_MONTH * hours_per_day * SECONDS_PER_HOUR / paths.horizon_s

    def estimate(values: "NDArray[np.float64]", factor: float, least_high: float) -> Estimate:
        found = over_worlds(paths.world, lambda rows: float(values[rows].mean() * factor))
        high = max(found.high, least_high * factor / paths.n_draws)
        return Estimate(value=found.value, low=found.low, high=high)

    return HelloRow(
        interval_s=interval_s,
        use=Forecast(draws=use_bytes, unit="bytes", world=np.zeros(use_bytes.size, np.int32)),
        prob=estimate(n_expired, 1 / n_hellos, _AT_MOST),
        expiries=estimate(n_expired, per_month, _AT_MOST),
        unreachable_s=estimate(gone_s, per_month, _AT_MOST * min(interval_s, timer_s)),
        holds=interval_s < timer_s,
    )


def hello_gaps(
    paths: "CapacityPaths",
    *,
    interval_s: float,
    timer_s: float,
    loss_frac: "NDArray[np.float64]",
    correlation: float,
    rng: "Generator",
) -> "tuple[NDArray[np.float64], NDArray[np.float64], float]":
    """Expiries and seconds without a mapping of each row, and the hellos sent on a row.

    Parameters
    ----------
    paths : CapacityPaths
        A second that carries nothing loses the hello.
    loss_frac : array, shape (d,)
        Share of hellos lost besides. [fraction]
    correlation : float
        Of the loss of one hello and the next, in [0, 1).
    """
    non_negative("correlation", correlation)
    n_hellos = int(paths.horizon_s / interval_s)
    phase_s = rng.uniform(0.0, interval_s, paths.n_draws)
    at_s = phase_s[:, None] + interval_s * np.arange(n_hellos)
    step = np.minimum((at_s / paths.step_s).astype(np.int64), paths.n_steps - 1)
    through = np.take_along_axis(paths.rates_bps >= _DEAD_BPS, step, axis=1)
    uniforms = rng.random((n_hellos, paths.n_draws))
    lost = uniforms[0] < loss_frac
    for i in range(n_hellos):
        if i:
            lost = uniforms[i] < np.where(lost, loss_frac + (1 - loss_frac) * correlation,
                                          loss_frac * (1 - correlation))  # fmt: skip
        through[:, i] &= ~lost
    # the mapping is taken to stand at the start of the row
    last = np.where(through, at_s, -np.inf)
    before_s = np.maximum.accumulate(last, axis=1)
    previous_s = np.concatenate((np.full((paths.n_draws, 1), np.nan), before_s[:, :-1]), axis=1)
    previous_s = np.where(np.isfinite(previous_s), previous_s, at_s[:, :1] - interval_s)
    gap_s = np.where(through, at_s - previous_s, 0.0)
    expired = gap_s >= timer_s * (1 - _CLOSE)
    gone_s = np.where(expired, np.maximum(gap_s - timer_s, 0.0), 0.0)
    # a row that ends without a mapping
    open_s = paths.horizon_s - np.maximum(before_s[:, -1], at_s[:, 0] - interval_s) - timer_s
    return (
        expired.sum(axis=1).astype(np.float64),
        gone_s.sum(axis=1) + np.maximum(open_s, 0.0),
        float(n_hellos),
    )


def _loss(
    link: "LinkModel", paths: "CapacityPaths", rng: "Generator"
) -> "tuple[NDArray[np.float64], float, str]":
    """Share of single packets lost in each row's world, the correlation of neighbours a second
    apart, and in words where both come from.
    """
    n_worlds = int(paths.world.max()) + 1
    latency = link.latency
    n = 0 if latency is None else latency.n_idle + latency.n_loaded
    if latency is None or n < ENOUGH_PROBES:
        z = rng.standard_normal(n_worlds)
        each = np.minimum(_PRIOR_LOSS_FRAC * _PRIOR_LOSS_SPREAD**z, 0.5)
        return each[paths.world], 0.0, "not measured, a guess"
    source, mean = "as measured", latency.random_loss_frac
    if mean is None:  # probes too far apart, or in rows of many, to tell outages from chance
        source, mean = "as measured, outages among them", latency.loss_frac
    each = rng.beta(mean * n + 0.5, max(n - mean * n, 0.0) + 0.5, n_worlds)
    correlation = 0.0
    if latency.mean_burst_probes:
        # a chain that recovers with r and loses p in all forgets 1 - r / (1 - p) a step
        forgotten = 1 - 1 / latency.mean_burst_probes / (1 - min(mean, 0.99))
        correlation = float(max(forgotten, 0.0) ** (1 / _PROBE_STEP_S))
    return each[paths.world], correlation, source


def _rng(seed: int, name: str) -> np.random.Generator:
    """An own generator for each purpose."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])
