"""The short part of uploads: the same recommendation, without sending anything."""

import numpy as np
import pytest

from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.upload_crossing import crossing_of
from linkfit.forecast.upload_rates import UploadRates, upload_paths
from linkfit.forecast.uploads import forecast_uploads
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link

ASK = UploadAsk(size_bytes=3e8, n_items=12, body_limit_bytes=1e8, idle_timeout_s=30.0,
                same_link_share_frac=0.3)  # fmt: skip


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(2)
    return fit_link(
        Trace.merge(
            [
                Trace.from_rates(rate * np.exp(0.5 * rng.standard_normal(900)), direction=way)
                for rate, way in ((3e6, "up"), (12e6, "down"))
            ]
        )
    )


def rates_of(link, ask, seed=4):
    crossed = crossing_of(ask, lambda way: upload_paths(link, way, seed=seed))
    return UploadRates.of(link, ask, crossed, seed=seed)


def test_the_recommendation_is_that_of_the_whole_forecast(link):
    whole = forecast_uploads(link, ASK, seed=4, n_draws=20)
    short = rates_of(link, ASK)
    advice = short.chunk_advice()
    assert advice == whole.chunk
    assert short.chunks_by_world().draws.tolist() == whole.chunks.draws.tolist()
    assert short.lane_advice(advice.chunk_bytes) == whole.lane_advice
    n_lanes = short.lanes_by_world(advice.chunk_bytes).draws
    assert n_lanes.tolist() == whole.n_lanes.draws.tolist()
    assert short.outages_per_day() == whole.outages_per_day


def test_a_steady_link_recommends_by_hand():
    """8 Mbit/s for 30 s carry 30 MB of payload and headers, half of it within the timeout."""
    steady = fit_link(Trace.from_rates(np.full(600, 8e6), direction="up"))
    ask = UploadAsk(size_bytes=3e8, idle_timeout_s=30.0)
    advice = rates_of(steady, ask).chunk_advice()
    assert advice.bound == "timeout"
    assert advice.high_bytes <= 15e6 * ask.goodput_frac * 1.05
