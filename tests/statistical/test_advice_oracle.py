"""The search of the advice against all sets of changes, on sites of up to 12 binary changes."""

from itertools import product

import numpy as np
import pytest

from linkfit.advice.change import Change, Cost, apply_all
from linkfit.advice.edits import Edit
from linkfit.advice.measures import target_measures
from linkfit.advice.search import search_changes
from linkfit.forecast.draws import Forecast
from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.outcomes import (
    DataForecast,
    Evaluation,
    LedgerEntry,
    ServiceForecast,
    TaskForecast,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

MB = 1e6
N_MORE = 8


def hut(n_services, median_bytes=MB, target_s=1.0, **site):
    return Site(
        name="hut",
        services=tuple(
            Service(name=f"s{i}", kind="own", n_users=3, tasks=(
                Task(name="t", flow="out", size=SizeLaw(median_bytes=median_bytes, spread=1.3),
                     target_s=target_s, per_user_day=20),
            ))
            for i in range(n_services)
        ),
        **site,
    )  # fmt: skip


def halve(i, points, *, median_bytes=MB, lossless=False):
    size = SizeLaw(median_bytes=median_bytes / 2, spread=1.3)
    cost = Cost(effort_h=points) if lossless else Cost(quality_loss_frac=points / 10)
    return Change(
        what="size", service=f"s{i}", setting=f"s{i}: t: size", before_text="1", after_text="1/2",
        cost_text="smaller", cost=cost,
        edits=(Edit(editor="task", field="size", value=size, service=f"s{i}", task="t"),),
    )  # fmt: skip


class SharedLink:
    """Each task waits for all others, and less where they shrink: effects do not add."""

    def __init__(self, rng, n, scale):
        self.weights, self.scale = rng.integers(0, 9, (n, n)) / 8 / n * 2.5, scale

    def times_s(self, sizes):
        waits = 0.3 * sizes + sizes @ self.weights.T
        return self.scale * waits / (1 + 0.2 * (1 - sizes).sum(axis=-1, keepdims=True))

    def evaluate(self, site):
        sizes = np.array([service.tasks[0].size.median_bytes / MB for service in site.services])
        services = []
        for service, time_s in zip(site.services, self.times_s(sizes), strict=True):
            time = Forecast(draws=np.full(4, time_s), unit="s", world=np.zeros(4))
            task = TaskForecast(service=service.name, task=service.tasks[0], time=time,
                                prob_within_target=None, n_max_users=None)  # fmt: skip
            services.append(ServiceForecast(service=service, tasks=(task,)))
        use = Forecast(draws=np.ones(1), unit="bytes", world=np.zeros(1))
        ledger = [LedgerEntry(cause="t", service=s.name, use=use) for s in site.services]
        data = DataForecast(cap_bytes=None, cycle_days=30.0, use=use, prob_over_cap=None,
                            runs_out=None, ledger=tuple(ledger))  # fmt: skip
        return Evaluation(site=site, seed=0, services=tuple(services), data=data, backlogs=())


def all_sets(link, changes):
    """Every set's choice, shape (2^n, n), its cost and the number of targets it meets."""
    taken = np.array(list(product([0, 1], repeat=len(changes))))
    costs = taken @ np.array([change.cost.points for change in changes])
    return taken, costs, (link.times_s(1 - taken / 2) <= 1).sum(axis=1)


@pytest.mark.slow
@pytest.mark.parametrize("n", [4, 7, 12])
def test_the_answers_agree_with_every_set_where_effects_do_not_add(n):
    """In 3 x 6 invented sites; a search cut short by its budget may be 10 % dear, and says so."""
    rng, exact = np.random.default_rng(n), []
    for scale in (0.9, 1.1, 1.3, 0.9, 1.1, 1.3):
        changes = [halve(i, int(rng.integers(1, 9)) / 8, lossless=i % 2 == 0) for i in range(n)]
        link = SharedLink(rng, n, scale)
        taken, costs, n_met = all_sets(link, changes)
        found = search_changes(hut(n), changes, link.evaluate, n_more=N_MORE)
        fits = n_met == n
        assert found.best.feasible == bool(fits.any())
        if fits.any():
            allowed = 1.0 if found.exhausted else 1.1
            assert found.best.cost <= costs[fits].min() * allowed + 1e-9
        lossless = ~taken[:, [c.cost.quality_loss_frac > 0 for c in changes]].any(axis=1)
        if found.lossless.feasible:
            assert found.lossless.cost == pytest.approx(costs[fits & lossless].min())
        elif found.lossless_exhausted:
            assert not (fits & lossless).any()
        true_costs = [costs[n_met >= outcome.n_met].min() for outcome in found.front]
        shown_costs = [outcome.cost for outcome in found.front]
        exact += list(np.isclose(shown_costs, true_costs))
        assert np.all(shown_costs >= np.array(true_costs) - 1e-9)
    assert np.mean(exact) >= 0.8  # of the front: it has 8 evaluations besides


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::linkfit.errors.LinkfitWarning")
def test_the_answer_agrees_with_every_set_of_a_site_evaluated_for_real():
    """Seven services on one link by quick numbers, all 128 sets of their changes evaluated."""
    link = fit_link(Trace.from_quick_numbers(up_bps=6e6, down_bps=24e6, rtt_s=0.05), seed=0)
    site = hut(7, median_bytes=2 * MB, target_s=12.0, plan=Plan(cap_bytes=28e9))
    points = (0.3, 0.5, 0.2, 0.7, 0.4, 0.6, 0.35)
    changes = [halve(i, p, median_bytes=2 * MB) for i, p in enumerate(points)]
    maker = Evaluator(link, n_probes=100)

    def evaluate(edited):
        return maker.evaluate(edited, limits=False)

    found = search_changes(site, changes, evaluate, n_more=N_MORE)
    costs = {}
    for chosen in product(*[(None, change) for change in changes]):
        picked = tuple(change for change in chosen if change is not None)
        if all(m.met for m in target_measures(evaluate(apply_all(site, picked)))):
            costs[picked] = sum(change.cost.points for change in picked)
    assert not found.before.feasible
    assert costs, "a site that no set can save tells nothing"
    assert found.best.feasible
    assert found.best.cost == pytest.approx(min(costs.values()))
