from dataclasses import replace

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.keepalive import (
    LEAST_TIMER_S,
    forecast_keepalive,
    hello_bytes,
    hello_gaps,
    keepalive_interval_s,
    monthly_bytes,
    sturdy_interval_s,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.latency import LatencyModel
from linkfit.link.paths import CapacityPaths


@pytest.mark.parametrize(
    ("transport", "interval_s", "megabytes"),
    [
        # common practice, 30 days: 60 bytes one way; 240 bytes a beat
        ("udp", 25, 6.2), ("udp", 60, 2.6), ("udp", 120, 1.3),
        ("tcp", 15, 41), ("tcp", 30, 21), ("tcp", 120, 5.2),
    ],
)  # fmt: skip
def test_what_hellos_cost_a_month(transport, interval_s, megabytes):
    found = monthly_bytes(interval_s, transport=transport) / 1e6
    assert found == pytest.approx(megabytes, rel=0.02)


def test_hours_and_ip_version_count():
    assert monthly_bytes(25, hours_per_day=12) == pytest.approx(monthly_bytes(25) / 2)
    assert hello_bytes("udp", 4) == (60.0, 0.0)
    assert monthly_bytes(25, ip_version=6) == pytest.approx(monthly_bytes(25) * 80 / 60)


@pytest.mark.parametrize(
    ("timer_s", "interval_s"),
    [(30.0, 24.0), (120.0, 96.0), (300.0, 240.0), (16.0, 15.0), (10.0, 8.0), (0.5, 0.4)],
)
def test_the_interval_is_eight_tenths_of_the_timer(timer_s, interval_s):
    # common practice; RFC 8085 section 3.5: not below 15 s where the timer allows it
    assert keepalive_interval_s(timer_s) == pytest.approx(interval_s)


def test_without_a_measured_timer_common_practice_starts():
    assert keepalive_interval_s(None) == 25.0
    assert keepalive_interval_s(None, "tcp") == 30.0


def test_what_standards_ask_of_timers():
    # RFC 4787 REQ-5: two minutes; RFC 5382 REQ-5: two hours and four minutes, as quoted
    assert LEAST_TIMER_S == {"udp": 120.0, "tcp": 2 * 3600 + 4 * 60}


def expiry_prob(loss_frac, *, timer_s, interval_s, correlation=0.0):
    """Chance that the mapping expires after a hello that got through, without outages.

    It expires when all hellos that are due before the timer's end are lost: with an interval of
    0.8 timers one lost hello is enough, with 0.4 it takes two in a row.
    """
    n_in_time = int(np.ceil(timer_s / interval_s * (1 - 1e-9))) - 1
    if n_in_time <= 0:
        return 1.0
    stays = loss_frac + (1 - loss_frac) * correlation
    return loss_frac * (1 - correlation) * stays ** (n_in_time - 1)


def test_half_of_the_usual_interval_survives_a_lost_hello():
    assert sturdy_interval_s(30.0) == 12.0


def test_hellos_as_far_apart_as_the_timer_are_always_too_late():
    expired, _, n_hellos = hello_gaps(
        CapacityPaths.from_rates(np.full((1, 3600), 1e6)), interval_s=30.0, timer_s=30.0,
        loss_frac=np.zeros(1), correlation=0.0, rng=np.random.default_rng(4),
    )  # fmt: skip
    assert expired[0] == n_hellos == 120


@pytest.mark.parametrize("correlation", [0.0, 0.4])
# one lost hello is enough, two in a row, one (the second is due as the timer ends), three in a row
@pytest.mark.parametrize(("timer_s", "interval_s"), [(30, 24), (30, 12), (30, 15), (60, 19)])
def test_a_link_without_outages_agrees_with_the_closed_form(timer_s, interval_s, correlation):
    paths = CapacityPaths.from_rates(np.full((400, 7200), 1e6))
    expired, gone_s, n_hellos = hello_gaps(
        paths, interval_s=interval_s, timer_s=timer_s, loss_frac=np.full(400, 0.1),
        correlation=correlation, rng=np.random.default_rng(4),
    )  # fmt: skip
    prob = expiry_prob(0.1, timer_s=timer_s, interval_s=interval_s, correlation=correlation)
    per_hello = expired / n_hellos
    error = per_hello.std() / np.sqrt(400)
    assert abs(per_hello.mean() - 0.9 * prob) < 3 * error + 2 * prob / n_hellos
    assert gone_s.mean() > 0


def test_an_outage_keeps_the_mapping_or_not_by_its_length():
    rates = np.full(600, 1e6)
    rates[200:220] = 0.0
    paths = CapacityPaths.from_rates(rates)
    asked = {"timer_s": 60.0, "loss_frac": np.zeros(1), "correlation": 0.0}
    found = [
        hello_gaps(paths, interval_s=i, rng=np.random.default_rng(0), **asked) for i in (10.0, 50.0)
    ]
    assert found[0][0][0] == 0
    rates[200:290] = 0.0
    paths = CapacityPaths.from_rates(rates)
    expired, gone_s, _ = hello_gaps(paths, interval_s=10.0, rng=np.random.default_rng(0), **asked)
    assert expired[0] == 1
    assert gone_s[0] == pytest.approx(100 - 60)  # the last hello before to the first one after


def test_a_link_that_never_comes_back_stays_out_of_reach():
    rates = np.zeros(1000)
    rates[:100] = 1e6
    expired, gone_s, _ = hello_gaps(
        CapacityPaths.from_rates(rates), interval_s=10.0, timer_s=30.0, loss_frac=np.zeros(1),
        correlation=0.0, rng=np.random.default_rng(0),
    )  # fmt: skip
    assert expired[0] == 0  # nothing got through after it
    assert 860 <= gone_s[0] <= 880


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(4)
    rates = rng.lognormal(np.log(6e6), 0.4, 1200)
    rates[400:425] = 0.0
    return fit_link(Trace.from_rates(rates, direction="up"), seed=0)


def test_longer_intervals_cost_less_and_lose_more(link):
    found = forecast_keepalive(link, timer_s=150.0, present_s=45.0, n_rows=60)
    assert [row.interval_s for row in found.rows] == [15, 25, 45, 60, 120, 300]
    costs = [row.use.quantile(0.5) for row in found.rows]
    assert costs == sorted(costs, reverse=True)
    gone = [row.unreachable_s.value for row in found.rows]
    assert gone[0] <= gone[3] < gone[4] < gone[5]
    assert [row.holds for row in found.rows] == [True] * 5 + [False]
    assert found.row.interval_s == 120.0
    assert found.sturdy_row.interval_s == 60.0
    assert found.is_timer_measured
    assert found.loss_source == "not measured, a guess"


def probed(link, n=2000, **found):
    quantiles = np.linspace(0.05, 0.1, 11)
    latency = LatencyModel(idle_rtts_s=quantiles, loaded_rtts_s=None, n_idle=n, n_loaded=0, **found)
    return replace(link, latency=latency)


def test_loss_is_the_measured_one_and_as_sure_as_its_probes(link):
    few, many = (
        forecast_keepalive(
            probed(link, n, loss_frac=0.05, random_loss_frac=0.02, mean_burst_probes=2.0)
        ).loss
        for n in (100, 10_000)
    )
    assert many.quantile(0.5) == pytest.approx(0.02, rel=0.1)
    spreads = [float(np.diff(one.quantile((0.05, 0.95)))[0]) for one in (few, many)]
    assert spreads[0] > 4 * spreads[1]


def test_loss_with_outages_among_it_says_so_and_few_probes_say_nothing(link):
    mixed = forecast_keepalive(probed(link, loss_frac=0.05))
    assert mixed.loss_source == "as measured, outages among them"
    assert mixed.loss.quantile(0.5) == pytest.approx(0.05, rel=0.3)
    assert forecast_keepalive(probed(link, 5, loss_frac=0.0)).loss_source.startswith("not measured")


def test_what_was_never_seen_is_not_said_to_be_impossible(link):
    row = forecast_keepalive(link, timer_s=7440.0, transport="tcp", n_rows=40).rows[0]
    assert (row.expiries.value, row.expiries.low) == (0.0, 0.0)
    # 40 rows of four hours: three events in 160 hours, as events a month of 720
    assert row.expiries.high == pytest.approx(3 * 720 / 160)


def test_each_estimate_lies_in_its_interval(link):
    for row in forecast_keepalive(link, n_rows=60).rows:
        for found in (row.prob, row.expiries, row.unreachable_s):
            assert found.low <= found.value <= found.high


def test_bad_numbers_are_named(link):
    with pytest.raises(InputError, match="transport: expected 'udp' or 'tcp', got 'quic'"):
        forecast_keepalive(link, transport="quic")
    with pytest.raises(InputError, match="nat_timer: expected a finite number > 0, got 0"):
        forecast_keepalive(link, timer_s=0.0)
    with pytest.raises(InputError, match="ip_version: expected 4 or 6, got 5"):
        hello_bytes("udp", 5)
