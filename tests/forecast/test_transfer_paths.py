"""Futures that last: long enough for the payload, never longer than the cost allows."""

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.transfer_paths import LONGEST_S, MOST_HORIZON_S, lasting_paths
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link


@pytest.fixture(scope="module")
def varied():
    rates_bps = 5e6 * np.exp(0.4 * np.random.default_rng(7).standard_normal(900))
    return fit_link(Trace.from_rates(rates_bps, layer="ip"))


def lasting(link, wire_bits, n_draws=50, **more):
    rng = np.random.default_rng(1)
    return lasting_paths(
        link, direction="up", wire_bits=wire_bits, n_draws=n_draws, rng=rng, **more
    )


@pytest.mark.parametrize("wire_bits", [1e5, 1e9, 3e10])
def test_nearly_all_futures_carry_the_payload_before_they_start_again(varied, wire_bits):
    paths = lasting(varied, wire_bits)
    assert paths.n_draws == 50
    assert (paths.cumulative_bits[:, -1] >= wire_bits).mean() >= 0.98
    assert paths.n_steps <= 600


def test_idle_time_needs_its_own_length(varied):
    assert lasting(varied, 1e5, idle_s=3600.0).horizon_s >= 2 * 3600.0


def test_weeks_are_two_days_over_and_over(varied):
    week_bits = 5e6 * 7 * 86400
    paths = lasting(varied, week_bits)
    assert paths.horizon_s == pytest.approx(MOST_HORIZON_S, rel=0.01)
    end_s = paths.time_at_bits_s(np.full(50, week_bits), np.arange(50))
    assert np.median(end_s) == pytest.approx(7 * 86400, rel=0.3)


def test_more_than_a_month_is_refused(varied):
    with pytest.raises(InputError, match=r"size_bytes: expected a payload .* within 30 days, got"):
        lasting(varied, 1.5 * 5e6 * LONGEST_S)
