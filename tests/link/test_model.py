from datetime import timedelta

import numpy as np
import pytest

import linkfit as lf
from linkfit.errors import FitError, InputError
from linkfit.ingest.trace import LatencySamples, Trace


@pytest.fixture(scope="module")
def link():
    rates = np.random.default_rng(1).gamma(4.0, 1e6, 600)
    return lf.fit_link(Trace.from_rates(rates, direction="up"))


def test_a_direction_never_measured_is_an_error_with_its_remedy(link):
    with pytest.raises(FitError, match=r"down: expected .* got none; measure it \(a 10 s test"):
        link.direction("down")
    with pytest.raises(FitError, match=r"down: .* got none"):
        link.paths("down", horizon_s=10, n_draws=5, rng=np.random.default_rng(0))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"horizon_s": 0}, r"horizon_s: expected a finite number > 0, got 0"),
        ({"step_s": -1}, r"step_s: .* got -1"),
        ({"n_draws": 0}, r"n_draws: expected a whole number >= 1, got 0"),
        ({"n_worlds": 0}, r"n_worlds: .* got 0"),
        ({"hour": 25}, r"hour: expected an hour from 0 to 24, got 25"),
    ],
)
def test_bad_numbers_are_named(link, change, message):
    wanted = {"horizon_s": 10, "n_draws": 5, "rng": np.random.default_rng(0)} | change
    with pytest.raises(InputError, match=message):
        link.paths("up", **wanted)


def test_an_unknown_direction_is_named(link):
    with pytest.raises(InputError, match=r"direction: expected 'up' or 'down', got 'out'"):
        link.direction("out")


def test_shapes_and_worlds(link):
    paths = link.paths("up", horizon_s=30, n_draws=50, rng=np.random.default_rng(0), n_worlds=7)
    assert paths.cumulative_bits.shape == (50, 31)
    assert np.bincount(paths.world).tolist() == [8] + [7] * 6
    one = link.paths("up", horizon_s=30, n_draws=1, rng=np.random.default_rng(0))
    assert one.world.tolist() == [0]


def test_coarse_steps_are_sums_of_the_same_process(link):
    fine, coarse = (
        link.paths("up", horizon_s=600, n_draws=60, rng=np.random.default_rng(3), step_s=step_s)
        for step_s in (1.0, 60.0)
    )
    wide = fine.cumulative_bits[:, ::60]
    # the two draw block lengths for horizons that differ by a step, so compare their laws
    ratio = np.std(np.diff(coarse.cumulative_bits)) / np.std(np.diff(wide))
    assert 0.7 < ratio < 1.4
    assert coarse.cumulative_bits[:, -1].mean() == pytest.approx(wide[:, -1].mean(), rel=0.1)


def test_no_latency_means_the_prior_and_no_loss(link):
    draws = link.draw_rtts_s(4000, np.random.default_rng(0))
    assert np.median(draws) == pytest.approx(0.056, rel=0.05)  # IFIP Networking 2024, see latency
    assert link.loss_frac == 0.0
    assert link.buffer_bytes("up") is None


def test_buffer_is_added_delay_times_rate():
    n = 20
    latency = LatencySamples(
        time_s=np.arange(n), rtt_s=np.repeat([0.05, 0.45], n // 2), spread_s=np.zeros(n),
        n_probes=np.ones(n), n_lost=np.zeros(n), loaded=np.repeat([False, True], n // 2),
        source=np.zeros(n),
    )  # fmt: skip
    rates = Trace.from_rates([8e6] * 30, layer="ip")
    trace = Trace(sources=rates.sources, throughput=rates.throughput, latency=latency)
    assert lf.fit_link(trace).buffer_bytes("up") == pytest.approx(0.4 * 8e6 / 8)


def test_the_busy_hour_is_slower_where_a_pattern_was_found(start_of_june):
    midnight = start_of_june.replace(hour=0)
    rng = np.random.default_rng(2)
    parts = []
    for day in range(14):
        for hour in range(24):
            level = 5e6 * np.exp(
                0.5 * np.cos(2 * np.pi * (hour - 3) / 24) + 0.1 * rng.standard_normal()
            )
            start = midnight + timedelta(days=day, hours=hour)
            parts.append(Trace.from_rates(np.full(10, level), start=start))
    link = lf.fit_link(Trace.merge(parts))
    assert link.up.daily.found

    def mean_at(hour):
        paths = link.paths(
            "up", horizon_s=60, n_draws=400, rng=np.random.default_rng(5), step_s=60, hour=hour
        )
        return paths.cumulative_bits[:, -1].mean()

    assert mean_at(3.5) / mean_at(15.5) == pytest.approx(np.exp(1.0), rel=0.15)
    day = link.paths(
        "up", horizon_s=86_400, n_draws=40, rng=np.random.default_rng(5), step_s=3600, hour=0.0
    )
    hourly = np.diff(day.cumulative_bits, axis=1).mean(axis=0)
    assert np.argmax(hourly) in range(6)  # the pattern follows the clock along a path
    assert np.argmin(hourly) in range(12, 19)
