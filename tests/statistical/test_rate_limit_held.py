"""The limit that is named for 95 % of moments, held against a process of which all is known."""

import numpy as np
import pytest

from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.overhead import goodput_share_frac
from linkfit.forecast.queue_delay import largest_added_queue_bits, shares_in_time
from linkfit.forecast.rate_limits import added_delay_limit, independent_samples
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths

BUFFER_BITS, N_FITS = 2.4e6, 40


def wandering_bps(n, rng, sigma=0.5, tau_s=20.0):
    """Lognormal rates with an exponential memory of 20 s: 1200 s hold some 30 of them."""
    kept = np.exp(-1.0 / tau_s)
    steps = rng.standard_normal(n) * sigma * np.sqrt(1.0 - kept**2)
    level, logs = sigma * rng.standard_normal(), np.empty(n)
    for i, step in enumerate(steps):
        logs[i] = level = kept * level + step
    return 6e6 * np.exp(logs)


def known(n_rows):
    return LatencyUnknowns(
        queue_bits=np.full(n_rows, BUFFER_BITS), rtt_factor=np.ones(n_rows),
        loss_frac=np.zeros(n_rows), burst_ratio=np.ones(n_rows), queue_source="as stated",
    )  # fmt: skip


@pytest.mark.slow
def test_a_limit_fitted_on_20_minutes_holds_nearly_as_often_as_it_says():
    payload_bps = wandering_bps(200_000, np.random.default_rng(1)).reshape(20, -1)
    truth = CapacityPaths.from_rates(payload_bps / goodput_share_frac())  # at the IP layer
    true_bps = added_delay_limit(truth, known(20)).limit.value
    room = largest_added_queue_bits(truth, 0.1, 12e3)
    held, holds_truth = [], 0
    for number in range(N_FITS):
        rng = np.random.default_rng(100 + number)
        link = fit_link(Trace.from_rates(wandering_bps(1200, rng), direction="up"))
        paths = link.paths("up", horizon_s=1200, n_draws=120, rng=rng, n_worlds=20)
        limit = added_delay_limit(
            paths, known(120), n_independent=independent_samples(link.up)
        ).limit
        held.append(shares_in_time(truth, room, [limit.value, limit.low], BUFFER_BITS).mean(axis=1))
        holds_truth += limit.low <= true_bps <= limit.high
    middle, safe = np.mean(held, axis=0)
    print(f"held {middle:.3f} of moments, {safe:.3f} at the safe end; {holds_truth} of {N_FITS}")
    # measured 0.94 and 0.98: 20 minutes say little of the lowest twentieth of the rates
    assert middle == pytest.approx(0.95, abs=0.03)
    assert safe >= 0.955
    # measured 36 of 40 where 36 should (65 % of 60 over worlds alone); the bar is three standard
    # errors of a share of 90 % in 40 fits below it
    assert holds_truth >= 0.75 * N_FITS
