"""A long record makes no larger a page than a short one: what is drawn is thinned first."""

import numpy as np
import pytest

from linkfit.link.series import MeasuredRuns
from linkfit.report.figure_style import MAX_POINTS
from linkfit.report.link_figures import time_series_figure
from linkfit.report.page.blocks import Picture
from linkfit.report.page.drawing import inline_svg

YEAR_S = 365 * 86400


def drawn(runs):
    figure = time_series_figure(runs, "up")
    return len(inline_svg(Picture(name="p", figure=figure, caption="c", finding="f"), "label"))


def one_run(n_seconds):
    rng = np.random.default_rng(5)
    rates = rng.gamma(4.0, 1e6, n_seconds).astype(np.float32)
    return MeasuredRuns(rates_bps=rates, first=[0, n_seconds], start_s=[1.78e9])


def many_runs(n_runs):
    rng = np.random.default_rng(6)
    rates = rng.gamma(4.0, 1e6, 10 * n_runs)
    starts = 1.78e9 + 3600.0 * np.arange(n_runs)
    return MeasuredRuns(rates_bps=rates, first=10 * np.arange(n_runs + 1), start_s=starts)


@pytest.mark.slow
def test_a_year_of_seconds_draws_as_large_as_an_hour():
    assert drawn(one_run(YEAR_S)) < 1.1 * drawn(one_run(2 * MAX_POINTS))


def test_a_year_of_hourly_tests_draws_as_large_as_a_month():
    assert drawn(many_runs(8760)) < 1.1 * drawn(many_runs(720))
