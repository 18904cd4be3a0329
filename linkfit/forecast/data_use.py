"""Data use of one billing cycle: a ledger of causes, the chance of an overrun, and its date.

Assumptions, all visible in the ledger: people do the same number of things a day whatever the
hours of power (they shift), machines send only while the server is up; a service whose hours
never meet those of the server sends nothing.
"""

import math
import zlib
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit._checks import count, fraction
from linkfit.errors import InputError
from linkfit.forecast.compound import compound_bytes
from linkfit.forecast.demand import (
    Crossing,
    background_share,
    crossing,
    limit_bytes_per_day,
    miss_frac,
    service_open_frac,
    task_crossings,
)
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours import common_part, day_intervals, open_frac, site_intervals
from linkfit.forecast.outcomes import DataForecast, LedgerEntry
from linkfit.forecast.plan_use import against_plan, counted_bytes, day_shares
from linkfit.site.model import Background, Backlog, Service, Site, Task
from linkfit.units import BITS_PER_BYTE, DAYS_PER_MONTH, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

# How well a stated "per day" and a stated size are known, and how much cycles differ: common
# practice, guesses that a few weeks of counting would replace.
RATE_SIGMA = 0.3
SIZE_SIGMA = 0.15
CYCLE_SIGMA = 0.15
PROTOCOL_FACTOR, PROTOCOL_SIGMA = 1.01, 0.025  # TLS and set-up on top of headers and tunnel
SECOND_CROSSING = "second crossing of clients on the same link"
N_DRAWS, N_WORLDS = 2000, 20
RETRANSMISSIONS = "retransmissions"
ROUNDING = "rounding up of sessions"
_UPKEEP = "upkeep"  # the kind of service that serves nobody but the server


@cache
def _normal_scores(n: int) -> "NDArray[np.float64]":
    """Quantiles of the standard normal law in the middles of `n` equal parts."""
    law = NormalDist()
    return np.array([law.inv_cdf((i + 0.5) / n) for i in range(n)])


@dataclass(frozen=True, slots=True)
class _Cycle:
    """What all causes share: the cycle, its draws, what the plan counts, the seed."""

    seed: int
    n_draws: int
    world: "NDArray[np.int32]"
    days: float
    counted: str

    @classmethod
    def of(cls, site: Site, seed: int, n_draws: int, n_worlds: int, days: float) -> "_Cycle":
        n_draws = count("n_draws", n_draws)
        world = (np.arange(n_draws) % min(count("n_worlds", n_worlds), n_draws)).astype(np.int32)
        return cls(seed, n_draws, world, days, site.plan.counted)

    def protocol_factor(self) -> "NDArray[np.float64]":
        return PROTOCOL_FACTOR * self.spread(self.rng("protocol"), PROTOCOL_SIGMA)

    def size_factor(self, *names: str) -> "NDArray[np.float64]":
        return self.spread(self.rng(*names, "size"), SIZE_SIGMA)

    def rng(self, *names: str) -> np.random.Generator:
        """An own generator for each cause: a change of one leaves the draws of the others."""
        return np.random.default_rng([self.seed, *(zlib.crc32(name.encode()) for name in names)])

    def spread(self, rng: np.random.Generator, sigma: float) -> "NDArray[np.float64]":
        """A lognormal factor of mean 1 that differs between worlds; shape (d,).

        Few worlds would miss its mean by chance, so they get its quantiles in random order.
        """
        factor = np.exp(sigma * rng.permutation(_normal_scores(int(self.world.max()) + 1)))
        return (factor / factor.mean())[self.world]

    def entry(
        self,
        cause: str,
        service: str,
        use_bytes: "NDArray[np.float64]",
        *,
        optional: bool = False,
        asked_for: bool = True,
    ) -> LedgerEntry:
        return LedgerEntry(
            cause=cause,
            service=service,
            use=Forecast(draws=use_bytes, unit="bytes", world=self.world),
            optional=optional,
            asked_for=asked_for,
        )


def forecast_data(
    site: Site,
    *,
    seed: int = 0,
    n_draws: int = N_DRAWS,
    n_worlds: int = N_WORLDS,
    loss_frac: float = 0.0,
    cycle_days: float = DAYS_PER_MONTH,
    mean_rates_bps: Mapping[str, float] | None = None,
    kept: dict[Hashable, Any] | None = None,
) -> DataForecast:
    """Bytes that the plan counts in one cycle, by cause, and when they run out.

    Parameters
    ----------
    site : Site
        Services, background, backlogs and the plan.
    seed : int
        Each cause draws from its own generator of this seed.
    n_draws, n_worlds : int
        Possible cycles, split evenly over worlds (one draw each of what is not known of the
        habits and of the overhead).
    loss_frac : float
        Share of packets lost and sent again, below 1.
    cycle_days : float
        Length of the cycle. [days]
    mean_rates_bps : mapping, optional
        Mean rate of "up" and "down"; bounds what backlogs can move. [bit/s]
    kept : dict, optional
        Keeps what each service and cause brings and how the days of a cycle differ, for calls
        with sites that differ elsewhere.

    Returns
    -------
    data : DataForecast
        One ledger entry for each task, background cause and backlog, and one each for what
        crosses the link twice and for retransmissions; the entries add up to `use`.

    Raises
    ------
    InputError
        If `loss_frac` is not in [0, 1).

    Notes
    -----
    Arrivals are Poisson with a rate known to a factor exp(+-`RATE_SIGMA`) in each world and
    `CYCLE_SIGMA` between cycles; sizes are lognormal, their level known to a factor
    exp(+-`SIZE_SIGMA`). What is stated is the mean: the median over worlds lies below it.
    Backlogs are counted as if all of them ran in this cycle, as far as rate limit, hours and
    `mean_rates_bps` let them.
    """
    if fraction("loss_frac", loss_frac) == 1:
        raise InputError("loss_frac: expected a number below 1, got 1; nothing would arrive")
    cycle = _Cycle.of(site, seed, n_draws, n_worlds, cycle_days)
    known = {} if kept is None else kept

    def once(make: Callable[[], Any], *of: Hashable) -> Any:
        key = (seed, n_draws, n_worlds, cycle_days, cycle.counted, *of)
        if key not in known:
            known[key] = make()
        return known[key]

    protocol_factor = once(cycle.protocol_factor, "protocol")
    ledger: list[LedgerEntry] = []
    twice = np.zeros(cycle.n_draws)
    for service in site.services:
        entries, second = once(
            lambda one=service: _service_entries(cycle, site, one, protocol_factor),  # type: ignore[misc]
            site.path, site.hours, service,
        )  # fmt: skip
        ledger += entries
        twice += second
    for backlog in site.backlogs:
        heap = _backlog_bytes(cycle, site, backlog, protocol_factor, mean_rates_bps or {})
        ledger.append(cycle.entry(f"backlog: {backlog.name}", "", heap))
    if site.path.same_link_share_frac and twice.any():
        ledger.append(cycle.entry(SECOND_CROSSING, "", twice, optional=True, asked_for=False))
    if loss_frac:
        again = _total(cycle, ledger) * loss_frac / (1 - loss_frac)
        ledger.append(cycle.entry(RETRANSMISSIONS, "", again, asked_for=False))
    up = open_frac(site_intervals(site.hours))
    for cause in site.background:
        own = once(lambda one=cause: _background_bytes(cycle, one, up), cause, up)  # type: ignore[misc]
        ledger.append(cycle.entry(cause.name, "", own, optional=cause.optional, asked_for=False))
    if site.plan.round_up_bytes:
        sent = _total(cycle, ledger)
        counted = counted_bytes(sent, _rounded_per_day(cycle, site) * cycle.days)
        ledger.append(cycle.entry(ROUNDING, "", counted - sent, asked_for=False))
    use = Forecast(draws=_total(cycle, ledger), unit="bytes", world=cycle.world)
    spent = None
    if site.plan.cap_bytes is not None:
        spent = once(lambda: day_shares(n_draws, cycle_days, cycle.rng("days")), "days")
    return against_plan(
        site.plan, tuple(ledger), use,
        cycle_days=cycle_days, up_frac=up, rng=cycle.rng("days"), spent_frac=spent,
    )  # fmt: skip


def one_time_bytes(
    site: Site,
    service: Service,
    task: Task,
    *,
    seed: int = 0,
    n_draws: int = N_DRAWS,
    n_worlds: int = N_WORLDS,
) -> Forecast:
    """Mean of what the plan counts when `task` happens once, second crossing included. [bytes]

    It differs between worlds: sizes and overhead are not known well, as in `forecast_data`.
    """
    cycle = _Cycle.of(site, seed, n_draws, n_worlds, DAYS_PER_MONTH)
    payload = task.mean_bytes * cycle.size_factor(service.name, task.name)
    n_requests = np.full(n_draws, float(task.n_requests))
    once = sum(
        (_wire_bytes(wire, cycle.counted, payload, n_requests)
         for wire in task_crossings(site, service, task)),
        np.zeros(n_draws),
    )  # fmt: skip
    use = cycle.protocol_factor() * once * miss_frac(service, task)
    return Forecast(draws=use, unit="bytes", world=cycle.world)


def _total(cycle: _Cycle, ledger: list[LedgerEntry]) -> "NDArray[np.float64]":
    return sum((entry.use.draws for entry in ledger), np.zeros(cycle.n_draws))


def rounded_bytes_per_day(
    site: Site, *, seed: int = 0, n_draws: int = N_DRAWS, n_worlds: int = N_WORLDS
) -> "NDArray[np.float64]":
    """What the plan rounds the sessions of a day up to, multiple x sessions; shape (d,). [bytes]

    0 where the plan does not round; the draws are those of `forecast_data` of the same seed.
    """
    return _rounded_per_day(_Cycle.of(site, seed, n_draws, n_worlds, DAYS_PER_MONTH), site)


def _rounded_per_day(cycle: _Cycle, site: Site) -> "NDArray[np.float64]":
    plan = site.plan
    if not plan.round_up_bytes:
        return np.zeros(cycle.n_draws)
    n_sessions = plan.sessions_per_day * open_frac(site_intervals(site.hours))
    return plan.round_up_bytes * n_sessions * cycle.spread(cycle.rng("sessions"), RATE_SIGMA)


def _service_entries(
    cycle: _Cycle, site: Site, service: Service, protocol_factor: "NDArray[np.float64]"
) -> tuple[list[LedgerEntry], "NDArray[np.float64]"]:
    """The entries of a service's tasks, and the bytes of its second crossings."""
    activity_factor = np.exp(
        CYCLE_SIGMA * cycle.rng(service.name).standard_normal(cycle.n_draws) - CYCLE_SIGMA**2 / 2
    )
    runs = service_open_frac(site, service) > 0
    first: list[NDArray[np.float64]] = []
    second = np.zeros(cycle.n_draws)
    for task in service.tasks:
        once, again = task_crossings(site, service, task)
        payload, requests = _task_draws(cycle, service, task, activity_factor * float(runs))
        first.append(protocol_factor * _wire_bytes(once, cycle.counted, payload, requests))
        second += protocol_factor * _wire_bytes(again, cycle.counted, payload, requests)
    limit = cycle.days * limit_bytes_per_day(site, service, cycle.counted)
    held = np.ones(cycle.n_draws)
    if math.isfinite(limit):
        wanted = sum(first, second.copy())
        held = np.where(wanted > limit, limit / np.maximum(wanted, 1e-300), 1.0)
    entries = [
        cycle.entry(
            task.name,
            service.name,
            use * held,
            optional=not task.must_carry,
            asked_for=service.kind != _UPKEEP,
        )
        for task, use in zip(service.tasks, first, strict=True)
    ]
    return entries, second * held


def _task_draws(
    cycle: _Cycle, service: Service, task: Task, activity_factor: "NDArray[np.float64]"
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Payload bytes and requests of one task that reach the link in the cycle."""
    rng = cycle.rng(service.name, task.name)
    missed = miss_frac(service, task)
    mean_number = service.n_users * task.per_user_day * cycle.days * activity_factor
    mean_number = mean_number * cycle.spread(rng, RATE_SIGMA)
    size_factor = cycle.size_factor(service.name, task.name)
    square_cov = math.expm1(math.log(task.size.spread) ** 2) / task.n_requests
    payload = compound_bytes(mean_number, task.mean_bytes, square_cov, rng)
    return payload * size_factor * missed, mean_number * task.n_requests * missed


def _wire_bytes(
    wire: Crossing,
    counted: str,
    payload_bytes: "NDArray[np.float64]",
    request_number: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Counted bytes of a payload sent in so many requests. [bytes]"""
    return wire.factor(counted) * payload_bytes + wire.request_bytes(counted) * request_number


def _background_bytes(cycle: _Cycle, cause: Background, up_frac: float) -> "NDArray[np.float64]":
    """A background cause while the server is up; its figure counts headers already. [bytes]"""
    mean = cause.bytes_per_day * cycle.days * up_frac * background_share(cause, cycle.counted)
    # what cannot be switched off is arithmetic (so many packets of so many bytes), not habit
    sigma = RATE_SIGMA if cause.optional else PROTOCOL_SIGMA
    return mean * cycle.spread(cycle.rng("background", cause.name), sigma)


def _backlog_bytes(
    cycle: _Cycle,
    site: Site,
    backlog: Backlog,
    protocol_factor: "NDArray[np.float64]",
    mean_rates_bps: Mapping[str, float],
) -> "NDArray[np.float64]":
    """A backlog's bytes in this cycle, as far as limits known without a simulation let it."""
    rng = cycle.rng("backlog", backlog.name)
    n_items = backlog.n_items + backlog.arrivals_per_day * cycle.days
    square_cov = math.expm1(math.log(backlog.size.spread) ** 2) / n_items
    sigma2 = math.log1p(square_cov)
    z = rng.standard_normal(cycle.n_draws)
    payload = n_items * backlog.size.mean_bytes * np.exp(math.sqrt(sigma2) * z - sigma2 / 2)
    payload *= cycle.size_factor("backlog", backlog.name)
    wire = crossing(site.path, backlog.flow)
    use = protocol_factor * wire.factor(cycle.counted) * payload
    open_part = common_part(site_intervals(site.hours), day_intervals(backlog.window))
    open_s = open_frac(open_part) * SECONDS_PER_DAY * cycle.days
    limits = [backlog.rate_limit_bps or math.inf]
    ways = {"out": ("up",), "in": ("down",), "both": ("up", "down")}[backlog.flow]
    limits += [mean_rates_bps.get(way, math.inf) for way in ways]
    most_payload = min(limits) * open_s / BITS_PER_BYTE if open_s else 0.0
    if not math.isfinite(most_payload):
        return use
    forward = max(wire.up_factor, wire.down_factor)
    return np.minimum(use, most_payload * wire.factor(cycle.counted) / forward)
