import numpy as np
import pytest

from linkfit.forecast.transfer import predict_transfer
from linkfit.forecast.transfer_width import LINK_ITSELF, LITTLE_MEASURED, ROUND_TRIPS, width_shares
from linkfit.ingest.trace import LatencySamples, Trace
from linkfit.link.fit import fit_link


def lognormal(sigma, n=4000):
    levels = (np.arange(n) + 0.5) / n
    return np.exp(sigma * np.random.default_rng(0).permutation(np.quantile(NORMAL, levels)))


NORMAL = np.random.default_rng(1).standard_normal(100_000)


def test_independent_lognormal_sources_share_the_width_as_their_variances():
    # 0.3^2 round trips + 0.4^2 level + 0.5^2 link
    shares = width_shares(
        lognormal(np.sqrt(0.5)), lognormal(np.sqrt(0.41)), lognormal(np.sqrt(0.34))
    )
    assert shares[ROUND_TRIPS] == pytest.approx(0.09 / 0.5, abs=0.01)
    assert shares[LITTLE_MEASURED] == pytest.approx(0.16 / 0.5, abs=0.01)
    assert shares[LINK_ITSELF] == pytest.approx(0.25 / 0.5, abs=0.01)


def test_shares_add_up_to_one_where_the_redraw_is_wider_by_chance():
    shares = width_shares(lognormal(0.30), lognormal(0.31), lognormal(0.10))
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares[ROUND_TRIPS] == 0.0
    assert min(shares.values()) >= 0


def test_no_width_or_no_end_has_no_shares():
    ends = lognormal(0.3)
    assert width_shares(np.full(10, 2.0), np.full(10, 2.0), np.full(10, 2.0)) == {}
    never = np.where(np.arange(ends.size) % 4 == 0, np.inf, ends)
    assert width_shares(never, never, ends) == {}
    assert width_shares(ends, ends, never) == {}


def asked(trace, size_bytes, **options):
    return predict_transfer(
        fit_link(trace), size_bytes=size_bytes, direction="up", width=True, **options
    )


def test_one_speed_test_is_uncertain_because_it_is_one():
    width = asked(Trace.from_quick_numbers(up_bps=6e6, rtt_s=0.05), 5e6).width
    assert width[LITTLE_MEASURED] > 0.7
    assert width[ROUND_TRIPS] < 0.05


def test_hours_of_a_swinging_link_leave_the_link_itself():
    rates = np.random.default_rng(0).gamma(4.0, 1.5e6, 3 * 3600)
    assert asked(Trace.from_rates(rates, layer="ip"), 1e6).width[LINK_ITSELF] > 0.8


def test_round_trips_make_the_width_of_a_small_payload_on_a_fast_link():
    n = 500
    latency = LatencySamples(
        time_s=np.arange(n), rtt_s=np.random.default_rng(0).lognormal(-3.0, 0.5, n),
        spread_s=np.zeros(n), n_probes=np.ones(n), n_lost=np.zeros(n), loaded=np.zeros(n),
        source=np.zeros(n),
    )  # fmt: skip
    rates = Trace.from_rates(np.random.default_rng(0).gamma(9.0, 1e7, 7200), layer="ip")
    trace = Trace(sources=rates.sources, throughput=rates.throughput, latency=latency)
    assert asked(trace, 1e4).width[ROUND_TRIPS] > 0.8


def test_the_width_changes_no_draw():
    rates = Trace.from_rates(np.random.default_rng(0).gamma(9.0, 1e6, 900), layer="ip")
    link = fit_link(rates)
    recent = Trace.from_rates(np.full(60, 2e6), layer="ip")
    for more in ({}, {"recent": recent}):
        ask = {"size_bytes": 1e6, "direction": "up", "n_draws": 200, **more}
        plain, told = predict_transfer(link, **ask), predict_transfer(link, **ask, width=True)
        assert (plain.draws == told.draws).all()
        assert plain.width == {}
        assert sum(told.width.values()) == pytest.approx(1.0)
