"""A small site and a fast stand-in for the real evaluation, simple enough to check by hand."""

import numpy as np
import pytest

from linkfit.advice.upload_settings import large_bytes
from linkfit.forecast.chances import chance_of
from linkfit.forecast.chunks import recommend_chunk_bytes
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import (
    BacklogForecast,
    DataForecast,
    Evaluation,
    LedgerEntry,
    ServiceForecast,
    TaskForecast,
)
from linkfit.forecast.parallel_uploads import best_parallel
from linkfit.site.kinds import find_kind
from linkfit.site.model import Background, Backlog, Image, PathLimits, Service, Site, SizeLaw
from linkfit.site.plan import Plan

N_WORLDS, N_PER_WORLD, CYCLE_DAYS = 5, 40, 30.0


def _draws(median, unit, spread=1.2, world_spread=1.05):
    """The same lognormal futures each time, so that only the median moves."""
    rng = np.random.default_rng(7)
    world = np.repeat(np.arange(N_WORLDS), N_PER_WORLD)
    level = world_spread ** rng.standard_normal(N_WORLDS)[world]
    return Forecast(
        draws=median * level * spread ** rng.standard_normal(world.size), unit=unit, world=world
    )


def _miss(task):
    views = task.cache.views_per_object_day * task.cache.lifetime_s / 86400
    return 1.0 if task.cache.scope == "none" else 1 / (1 + views)


class FakeEvaluator:
    """Times are size over what others leave of a fixed rate; counts its calls."""

    def __init__(self, rate_bps=6e6, world_spread=1.05):
        self.rate_bps, self.world_spread, self.n_calls = rate_bps, world_spread, 0

    def evaluate(self, site, *, limits=True, exact=None, users=None):
        self.n_calls += 1
        ledger = self._ledger(site)
        per_day = sum(median for _, _, median in ledger) / CYCLE_DAYS
        load = min(0.9, 5 * per_day * 8 / 86400 / self.rate_bps)
        free_bps = self.rate_bps * (1 - load)
        total = sum(median for _, _, median in ledger)
        use = _draws(total, "bytes", 1.1)
        cap = site.plan.cap_bytes
        data = DataForecast(
            cap_bytes=cap,
            cycle_days=CYCLE_DAYS,
            use=use,
            prob_over_cap=None if cap is None else 1 - use.prob_within(cap),
            runs_out=None
            if cap is None
            else Forecast(
                draws=np.where(use.draws > cap, CYCLE_DAYS * cap / use.draws, np.inf),
                unit="days",
                world=use.world,
            ),
            ledger=tuple(
                LedgerEntry(cause=cause, service=service, use=_draws(median, "bytes"))
                for service, cause, median in ledger
            ),
        )
        return Evaluation(
            site=site,
            seed=0,
            services=tuple(self._service(site, service, free_bps) for service in site.services),
            data=data,
            backlogs=tuple(self._backlog(backlog, free_bps) for backlog in site.backlogs),
        )

    def _ledger(self, site):
        found = []
        for service in site.services:
            twice = 1.0 if service.local_name else 1 + site.path.same_link_share_frac
            for task in service.tasks:
                median = task.mean_bytes * task.per_user_day * service.n_users * CYCLE_DAYS
                found.append((service.name, task.name, median * _miss(task) * twice + 1.0))
        return found + [("", c.name, c.bytes_per_day * CYCLE_DAYS + 1.0) for c in site.background]

    def _service(self, site, service, free_bps):
        limit = site.path.body_limit_bytes
        tasks = []
        for task in service.tasks:
            seconds = 0.1 + task.size.median_bytes * task.n_requests * _miss(task) * 8 / free_bps
            time = _draws(seconds, "s", world_spread=self.world_spread)
            piece = task.chunk_bytes or task.size.median_bytes
            refused = limit is not None and task.flow == "in" and piece > limit
            tasks.append(
                TaskForecast(
                    service=service.name,
                    task=task,
                    time=time,
                    prob_within_target=None
                    if task.target_s is None
                    else time.prob_within(task.target_s),
                    n_max_users=None,
                    refused="larger than the path carries" if refused else "",
                )
            )
        return ServiceForecast(service=service, tasks=tuple(tasks))

    def _backlog(self, backlog, free_bps):
        days = backlog.n_items * (
            backlog.size.mean_bytes * 8 / free_bps + backlog.per_item_s / backlog.n_parallel
        )
        forecast = _draws(days / 86400, "days")
        return BacklogForecast(
            backlog=backlog,
            days=forecast,
            binding="rate",
            binding_frac={"rate": 1.0},
            by_deadline=None
            if backlog.deadline is None
            else chance_of(forecast.draws <= 10.0, forecast.world),
        )


@pytest.fixture
def fake_evaluator():
    return FakeEvaluator


@pytest.fixture
def camp():
    """Kestrel Ridge in small: photos, sync, cameras and backup over a relay, and a backlog."""

    def service(name, kind, n_users):
        return Service(name=name, kind=kind, n_users=n_users, tasks=find_kind(kind).tasks)

    return Site(
        name="Kestrel Ridge dig",
        plan=Plan(cap_bytes=60e9, throttle_bps=512e3),
        path=PathLimits(
            entry="relay",
            body_limit_bytes=100e6,
            idle_timeout_s=100.0,
            same_link_share_frac=0.4,
            keepalive_s=15.0,
        ),
        services=(
            service("finds catalogue", "photo-library", 8),
            service("field notes", "file-sync", 6),
            service("trench cameras", "cameras", 2),
            service("dig site pages", "web-site", 20),
            service("night copies", "backup", 1),
            service("server care", "upkeep", 1),
        ),
        background=(
            Background(name="tunnel keepalive", bytes_per_day=345600.0, optional=False),
            Background(name="weather desk updates", bytes_per_day=2.5e8),
        ),
        backlogs=(
            Backlog(
                name="season photos",
                n_items=4200,
                size=SizeLaw(median_bytes=563e3, spread=1.6),
                image=Image(edge_px=2560),
            ),
        ),
    )


class SteadyUploads:
    """Pieces and numbers at once of a link with two rates a direction and a round trip of 60 ms."""

    @staticmethod
    def rates_bps(holder):
        return (2.4e7, 4e6) if holder.flow == "in" else (6e6, 1.2e6)

    def chunk(self, site, holder):
        middle_bps, low_bps = self.rates_bps(holder)
        behind = site.path.entry == "relay" and holder.flow == "in"
        return recommend_chunk_bytes(
            rate_bps=middle_bps, low_rate_bps=low_bps, overhead_s=0.06,
            item_bytes=large_bytes(holder),
            body_limit_bytes=site.path.body_limit_bytes if behind else None,
            total_timeout_s=site.path.idle_timeout_s,
        )  # fmt: skip

    def lanes(self, site, holder):
        middle_bps, low_bps = self.rates_bps(holder)
        return best_parallel(
            item_bytes=holder.size.median_bytes, chunk_bytes=holder.chunk_bytes,
            rate_bps=middle_bps, low_rate_bps=low_bps, overhead_s=0.06 + holder.per_item_s,
            total_timeout_s=site.path.idle_timeout_s,
        )  # fmt: skip


@pytest.fixture
def rates():
    from linkfit.advice.link_rates import LinkRates

    return LinkRates(
        up_p05_bps=1.2e6, up_p10_bps=2e6, up_p50_bps=6e6,
        down_p05_bps=4e6, down_p10_bps=8e6, down_p50_bps=2.4e7,
        uploads=SteadyUploads(),
    )  # fmt: skip
