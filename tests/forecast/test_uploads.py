import math
from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.errors import FitError
from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.uploads import forecast_uploads
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from tests.forecast.restart_theory import expected_time_s, unbroken_prob

SMALL = {"n_rows": 40, "n_draws": 120, "seed": 1}


class SteadyLink:
    """A known link: what forecasts read of a model, with no spread at all."""

    def __init__(self, rate_bps, rtt_s=0.05):
        self.rate_bps, self.rtt_s = rate_bps, rtt_s

    def paths(self, direction, *, horizon_s, n_draws, rng, n_worlds=20, step_s=1.0):
        rates = np.full((n_draws, int(horizon_s / step_s)), self.rate_bps)
        return CapacityPaths.from_rates(rates, step_s, np.arange(n_draws) % n_worlds)

    def direction(self, name):
        return SimpleNamespace(measured_s=600.0)

    def draw_rtts_s(self, n, rng):
        return np.full(n, self.rtt_s)


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(4)
    rates = rng.lognormal(np.log(6e6), 0.5, 1200)
    rates[400:490] = 0.0
    return fit_link(Trace.from_rates(rates, direction="up"), seed=0)


def test_a_steady_link_gives_the_closed_forms():
    ask = UploadAsk(size_bytes=2e9, drops_per_day=48.0)
    found = forecast_uploads(SteadyLink(4e6), ask, seed=0, n_rows=20, n_draws=1500)
    duration_s = 2e9 * 8 / (4e6 * ask.goodput_frac) + 0.05
    rate = 48 / 86400
    assert found.whole.passes.prob == pytest.approx(unbroken_prob(duration_s, rate), rel=1e-3)
    error_s = found.whole.time.draws.std() / math.sqrt(1500)
    # each break costs two round trips more than the closed form knows
    breaks = math.exp(rate * duration_s) - 1
    expected_s = expected_time_s(duration_s, rate) + 0.1 * breaks
    assert abs(found.whole.mean_s - expected_s) < 3 * error_s
    assert found.outages_per_day.value == 0.0
    assert found.measured_s == 600.0


def test_n_files_at_once_end_their_first_n_times_later():
    # a saturated link: arithmetic of equal shares
    found = forecast_uploads(SteadyLink(4e6), UploadAsk(size_bytes=5e7, n_items=8), **SMALL)
    first_s = [float(row.first.quantile(0.5)) for row in found.lanes]
    assert first_s[3] == pytest.approx(4 * first_s[0], rel=0.02)
    last_s = [float(row.last.quantile(0.5)) for row in found.lanes]
    assert last_s[3] == pytest.approx(last_s[0], rel=0.02)
    assert found.lane_advice.n_lanes == 1


def test_small_files_with_a_cost_of_their_own_go_together():
    ask = UploadAsk(size_bytes=5e4, n_items=400, per_item_s=0.5)
    found = forecast_uploads(SteadyLink(4e6), ask, **SMALL)
    one = found.lanes[0].items_per_s.quantile(0.5)
    alone_s = 0.5 + 0.05 + 5e4 * 8 / (4e6 * ask.goodput_frac)
    assert one == pytest.approx(1 / alone_s, rel=1e-3)
    assert found.lane_advice.n_lanes >= 5
    assert found.lanes[-1].items_per_s.quantile(0.5) > 4 * one


def test_pieces_waste_less_than_the_whole(link):
    found = forecast_uploads(link, UploadAsk(size_bytes=1e9, drops_per_day=24.0), **SMALL)
    wasted = [row.mean_wasted_bytes for row in found.rows]
    assert wasted[0] < 0.1 * wasted[-1]
    passes = [row.passes.prob for row in found.rows]
    assert passes == sorted(passes, reverse=True)
    assert found.whole.passes.low_prob < found.whole.passes.prob < found.whole.passes.high_prob
    assert found.rows[0].time.quantile(0.95) < found.whole.time.quantile(0.95)


def test_an_outage_longer_than_the_timeout_breaks_and_a_patient_path_does_not(link):
    hasty = forecast_uploads(link, UploadAsk(size_bytes=5e8, idle_timeout_s=30.0), **SMALL)
    patient = forecast_uploads(link, UploadAsk(size_bytes=5e8, idle_timeout_s=300.0), **SMALL)
    assert hasty.outages_per_day.value > 10 > patient.outages_per_day.value
    assert hasty.outages_per_day.low < hasty.outages_per_day.value < hasty.outages_per_day.high
    assert hasty.whole.passes.prob < patient.whole.passes.prob
    assert 30.0 < hasty.timeout.idle_s < 200.0


def test_more_drops_never_help(link):
    chances = [
        forecast_uploads(link, UploadAsk(size_bytes=5e8, drops_per_day=d), **SMALL).whole.passes
        for d in (0.0, 12.0, 96.0)
    ]
    assert [c.prob for c in chances] == sorted((c.prob for c in chances), reverse=True)


def test_the_body_limit_refuses_and_bounds_the_piece(link):
    ask = UploadAsk(size_bytes=2e9, body_limit_bytes=1e8, total_timeout_s=120.0)
    found = forecast_uploads(link, ask, **SMALL)
    assert [row.refused for row in found.rows] == [row.piece_bytes > 1e8 for row in found.rows]
    assert found.whole.refused
    assert found.chunk.high_bytes <= 9e7
    assert found.most_in_time_bytes == pytest.approx(found.rate.quantile(0.05) * 120 / 8)
    whole = forecast_uploads(
        link, UploadAsk(size_bytes=2e9, body_limit_bytes=1e8, whole=True), **SMALL
    )
    assert whole.lanes == ()


def test_the_same_seed_gives_the_same_numbers(link):
    ask = UploadAsk(size_bytes=1e8, drops_per_day=12.0)
    first, again = (forecast_uploads(link, ask, **SMALL) for _ in range(2))
    assert (first.whole.time.draws == again.whole.time.draws).all()


def test_a_direction_never_measured_cannot_be_forecast(link):
    with pytest.raises(FitError, match="down: expected at least one measurement"):
        forecast_uploads(link, UploadAsk(size_bytes=1e6, flow="in"), **SMALL)


class TwoWayLink(SteadyLink):
    """Steady, with a rate of its own each way."""

    def paths(self, direction, **options):
        self.rate_bps = {"up": 2e6, "down": 8e6}[direction]
        return super().paths(direction, **options)


def test_clients_on_the_same_link_take_the_time_of_the_slower_way():
    """10 MB: 10 s at 8 Mbit/s from elsewhere, 40 s at 2 Mbit/s from the same link."""
    ask = UploadAsk(size_bytes=1e7, n_items=4, flow="in", same_link_share_frac=0.25)
    found = forecast_uploads(TwoWayLink(0.0), ask, **SMALL)
    payload_s = 1e7 * 8 / ask.goodput_frac
    away, stays = found.same_link.away, found.same_link.stays
    assert away.quantile([0.05, 0.95]) == pytest.approx(payload_s / 8e6 + 0.05, rel=1e-3)
    assert stays.quantile([0.05, 0.95]) == pytest.approx(payload_s / 2e6 + 0.05, rel=1e-3)
    assert stays.draws.size == 30
    # all four in turn: three of one kind, one of the other
    last_s = float(found.lanes[0].last.quantile(0.5))
    assert last_s == pytest.approx(payload_s * (3 / 8e6 + 1 / 2e6) + 0.2, rel=0.01)
    bare = forecast_uploads(TwoWayLink(0.0), UploadAsk(size_bytes=1e7, flow="in"), **SMALL)
    assert bare.same_link is None
    assert bare.whole.time.quantile(0.5) == pytest.approx(payload_s / 8e6 + 0.05, rel=1e-3)


def test_a_transfer_of_days_stays_with_its_kind_of_client():
    ask = UploadAsk(size_bytes=2e10, flow="in", same_link_share_frac=0.5)
    found = forecast_uploads(TwoWayLink(0.0), ask, **SMALL)
    payload_s = 2e10 * 8 / ask.goodput_frac
    assert found.same_link.away.quantile(0.95) == pytest.approx(payload_s / 8e6, rel=1e-3)
    assert found.same_link.stays.quantile(0.05) == pytest.approx(payload_s / 2e6, rel=1e-3)


def test_a_way_back_that_was_never_measured_is_left_out_and_named(link):
    ask = UploadAsk(size_bytes=1e7, same_link_share_frac=0.5)
    found = forecast_uploads(link, ask, **SMALL)
    assert found.unmeasured == "down"
    assert found.same_link is None
