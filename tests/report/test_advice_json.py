"""The record linkfit/advice/1: every key of the contract, plain JSON, never or unknown as null."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from linkfit.advice.advise import advise
from linkfit.forecast.draws import Forecast
from linkfit.forecast.outcomes import (
    BacklogForecast,
    DataForecast,
    Evaluation,
    LedgerEntry,
    ServiceForecast,
    TaskForecast,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.advice_json import SCHEMA, advice_record
from linkfit.site.model import Background, Backlog, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan


def forecast(draws, unit):
    return Forecast(draws=np.asarray(draws, float), unit=unit, world=np.zeros(len(draws)))


class Fixed:
    """Forecasts by hand: view takes 1 s, the upload never ends, the feed fills the plan."""

    def evaluate(self, site, *, limits=True, exact=None, users=None):
        view, upload = site.services[0].tasks
        feed = site.background[0].bytes_per_day * 30 + 1e9
        tasks = tuple(
            TaskForecast(
                service="finds", task=task, time=forecast(times, "s"),
                prob_within_target=share, n_max_users=9 if limits else None, refused=refused,
            )
            for task, times, share, refused in (
                (view, [1.0 / 3.0, 1.0, 1.5], 1.0, ""), (upload, [math.inf] * 3, 0.0, "too large"),
            )
        )  # fmt: skip
        use = forecast([feed, feed * 1.1, feed * 1.2], "bytes")
        return Evaluation(
            site=site,
            seed=5,
            services=(ServiceForecast(service=site.services[0], tasks=tasks),),
            data=DataForecast(
                cap_bytes=6e9, cycle_days=30.0, use=use,
                prob_over_cap=float(np.mean(use.draws > 6e9)),
                runs_out=forecast(np.where(use.draws > 6e9, 30 * 6e9 / use.draws, np.inf), "days"),
                ledger=(
                    LedgerEntry(cause="view", service="finds", use=forecast([1e9], "bytes")),
                    LedgerEntry(cause="news feed", service="", optional=True,
                                use=forecast([max(feed - 1e9, 1.0)], "bytes")),
                ),
            ),
            backlogs=(
                BacklogForecast(
                    backlog=site.backlogs[0], days=forecast([2.0, 3.0, math.inf], "days"),
                    binding="rate", binding_frac={"rate": 2 / 3, "hours": 1 / 3},
                    by_deadline=None,
                ),
            ),
            missing=("latency while the link is busy",),
            notes=("busy hour",),
        )  # fmt: skip


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_rates(np.full(120, 5e6), direction="up"))


@pytest.fixture(scope="module")
def advice(link):
    size = SizeLaw(median_bytes=2e5)
    tasks = (
        Task(name="view", flow="out", size=size, target_s=2.0),
        Task(name="upload", flow="in", size=size, target_s=60.0, must_carry=False),
    )
    site = Site(
        name="Kestrel Ridge dig",
        plan=Plan(cap_bytes=6e9),
        services=(Service(name="finds", kind="photo-library", n_users=4, tasks=tasks),),
        background=(Background(name="news feed", bytes_per_day=3e8),),
        backlogs=(Backlog(name="films", n_items=2, size=SizeLaw(median_bytes=1e9)),),
    )
    return advise(site, link, seed=5, evaluator=Fixed())


@pytest.fixture(scope="module")
def record(advice, link):
    return advice_record(advice, link)


def test_the_keys_of_the_contract_are_all_there(record):
    assert record["schema"] == SCHEMA == "linkfit/advice/1"
    assert record.keys() >= {
        "schema", "seed", "link", "services", "data", "backlogs", "changes", "cautions"
    }  # fmt: skip
    (service,) = record["services"]
    assert service.keys() >= {"name", "kind", "verdict", "tasks"}
    assert service["tasks"][0].keys() >= {
        "name", "flow", "target_s", "p05_s", "p50_s", "p95_s", "p95_low_s", "p95_high_s",
        "prob_within_target", "max_users",
    }  # fmt: skip
    assert record["data"].keys() >= {
        "cap_bytes", "p05_bytes", "p50_bytes", "p95_bytes", "prob_over_cap", "runs_out", "ledger",
    }  # fmt: skip
    assert record["data"]["runs_out"].keys() == {"p05", "p50", "p95"}
    assert record["backlogs"][0].keys() >= {
        "name", "p05_days", "p50_days", "p95_days", "binding", "prob_by_deadline",
    }  # fmt: skip
    assert record["changes"][0].keys() >= {"what", "service", "from", "to", "gain", "cost"}
    assert record["changes"][0]["gain"][0].keys() >= {"measure", "before", "after"}


def test_numbers_are_those_of_the_forecasts_rounded(record):
    view, upload = record["services"][0]["tasks"]
    assert (view["p05_s"], view["p50_s"], view["p95_s"]) == (0.3333, 1.0, 1.5)
    assert (view["prob_within_target"], view["max_users"], view["meets_target"]) == (1.0, 9, True)
    assert (upload["p50_s"], upload["refused"]) == (None, "too large")
    assert record["data"]["p50_bytes"] == 1.1e10
    assert record["data"]["runs_out"] == {"p05": 15.0, "p50": 16.36, "p95": 18.0}
    assert record["data"]["runs_out_unit"] == "days"
    films = record["backlogs"][0]
    assert (films["p05_days"], films["p50_days"], films["p95_days"]) == (2.0, 3.0, None)
    assert films["prob_by_deadline"] is None


def test_the_ledger_is_sorted_by_bytes(record):
    assert [(e["cause"], e["p50_bytes"]) for e in record["data"]["ledger"]] == [
        ("news feed", 9e9), ("view", 1e9),
    ]  # fmt: skip


def test_the_change_and_what_follows_from_it(record):
    (change,) = [c for c in record["changes"] if c["service"] == "news feed"]
    assert (change["from"], change["to"]) == ("300 MB a day", "off")
    assert change["cost_parts"]["effort_h"] == 0.3
    plan = next(gain for gain in change["gain"] if gain["target"] == 6e9)
    assert (plan["before"], plan["after"], plan["better"]) == (1.2e10, 1.2e9, True)
    assert record["after"]["data"]["prob_over_cap"] == 0
    # what stays within the cap never runs out: null, not infinity
    assert record["after"]["data"]["runs_out"] == {"p05": None, "p50": None, "p95": None}


def test_what_was_not_measured_is_null_in_the_link(record):
    rates = {"p05_bps": None, "p10_bps": None, "p50_bps": None}
    assert record["link"]["down"] == rates | {"lower_bound_only": False, "average_s": 10.0}
    assert record["link"]["up"]["p50_bps"] > 0
    assert record["missing"] == ["latency while the link is busy"]


def test_it_is_strict_json_and_the_same_each_time(advice, record, link):
    text = json.dumps(record, allow_nan=False)
    assert json.loads(text) == record
    assert json.dumps(advice_record(advice, link), allow_nan=False) == text


def test_without_a_cap_or_changes_the_keys_stay(advice, link):
    data = replace(advice.before.data, cap_bytes=None, prob_over_cap=None, runs_out=None)
    bare = replace(advice, before=replace(advice.before, data=data), chosen=(), outcomes=())
    record = advice_record(bare, link)
    assert record["data"]["runs_out"] == {"p05": None, "p50": None, "p95": None}
    assert (record["data"]["cap_bytes"], record["changes"], record["after"]) == (None, [], None)


def test_every_verdict_has_its_reason_and_a_service_that_fits_none(record):
    reasons = record["verdict_reasons"]
    assert reasons.keys() == {service["name"] for service in record["services"]}
    for service in record["services"]:
        found = reasons[service["name"]]
        assert found.keys() == {"why", "open_directions", "measure"}
        assert bool(found["why"]) == (service["verdict"] != "fits")
        assert bool(found["open_directions"]) == (service["verdict"] == "not enough data")


def test_costs_stand_in_parts_with_their_source_and_money_that_is_known(record):
    (feed,) = [change for change in record["changes"] if "news feed" in change["what"]]
    assert feed["cost_parts"] == {
        "quality_loss_frac": 0.02, "effort_h": 0.3, "money": 0.0, "money_once": 0.0,
        "source": "bytes and that it can go: site file; the rest: common practice",
    }  # fmt: skip
    (plan,) = [change for change in record["other_changes"] if change["what"] == "data plan"]
    assert plan["cost"] == "a larger plan, price not given"
    assert plan["cost_parts"]["money"] is None
    assert record["currency"] == "units of money"
    assert record["answers"]["cheapest"]["money"] == 0.0


def test_targets_tell_where_the_changes_move_them(record):
    assert all(target["target_after"] == target["target"] for target in record["targets"])
    assert record["plan_reason"].startswith("ends with the data plan") or (
        record["plan_reason"] == ""
    )


def test_a_little_more_plan_is_judged_by_the_same_draws(record):
    """By hand: the feed uses 10, 11 or 12 GB of 6, so that 16 GB are enough for all."""
    easing = record["plan_easing"]
    assert (easing["extra_bytes"], easing["prob_over_cap"]) == (1e10, 0.0)
    assert easing["enough_bytes"] == pytest.approx(1.2e10)
