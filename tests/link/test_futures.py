import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.futures import second_hours
from linkfit.link.gaps import sessions
from linkfit.link.series import MeasuredRuns


def test_runs_close_in_time_form_one_session():
    runs = MeasuredRuns(
        rates_bps=np.ones(50), first=np.array([0, 10, 20, 30, 40, 50]),
        start_s=np.array([0.0, 200.0, 1000.0, np.nan, 1100.0]),
    )  # fmt: skip
    assert sessions(runs).tolist() == [0, 20, 30, 40, 50]


def test_hours_of_seconds_follow_the_clock():
    runs = MeasuredRuns(
        rates_bps=np.ones(7202), first=np.array([0, 7200, 7202]), start_s=np.array([3600.0, np.nan])
    )
    hours = second_hours(runs, "UTC")
    assert hours[[0, 3600, 7199]] == pytest.approx([1.0, 2.0, 2.9997], abs=1e-3)
    assert hours[-1] == 12.0


def test_the_end_of_the_record_counts_for_more():
    rates = np.r_[np.full(2000, 1e6), np.full(2000, 3e6)]
    link = lf.fit_link(Trace.from_rates(rates, layer="ip"))
    paths = link.paths("up", horizon_s=1, n_draws=4000, rng=np.random.default_rng(0), n_worlds=2000)
    share = np.mean(paths.rates_bps > 2e6)
    # weight e^2 at the end against 1 at the start, linear in the exponent
    assert share == pytest.approx(1 / (1 + np.exp(-1.0)), abs=0.05)


def test_an_hour_never_measured_is_wider(start_of_june):
    rates = np.random.default_rng(0).gamma(9.0, 1e6, 7200)
    link = lf.fit_link(Trace.from_rates(rates, start=start_of_june))

    def spread(hour):
        paths = link.paths(
            "up", horizon_s=60, n_draws=2000, rng=np.random.default_rng(1), n_worlds=200,
            step_s=60, hour=hour,
        )  # fmt: skip
        return np.std(np.log(paths.cumulative_bits[:, -1]))

    assert spread(3.0) > 1.2 * spread(None)


def test_a_month_in_coarse_steps_keeps_its_mean():
    rates = np.random.default_rng(0).gamma(9.0, 1e6, 3600)
    link = lf.fit_link(Trace.from_rates(rates, layer="ip"))
    paths = link.paths(
        "up", horizon_s=30 * 86_400, n_draws=20, rng=np.random.default_rng(1), step_s=3600
    )
    assert paths.n_steps == 720
    assert paths.mean_rate_bps == pytest.approx(9e6, rel=0.15)
    assert (np.diff(paths.cumulative_bits) >= 0).all()
