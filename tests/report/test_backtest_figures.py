import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.report.backtest_figures import (
    calibration_figure,
    pit_figure,
    score_figure,
    write_backtest_figures,
)


@pytest.fixture(scope="module")
def score():
    rates = 5e6 * np.exp(0.3 * np.random.default_rng(1).standard_normal(300))
    return lf.backtest(Trace.from_rates(rates), sizes_bytes=[5e5, 5e6], n_transfers=40)


def test_each_figure_is_written_the_same_each_time(score, tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    first = write_backtest_figures(score, tmp_path / "a", kind="svg")
    second = write_backtest_figures(score, tmp_path / "b", kind="svg")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
    assert len(first) == 3


def test_the_calibration_has_a_line_a_size_told_apart_without_colour(score):
    axes = calibration_figure(score).axes[0]
    lines = axes.get_lines()[1:]  # the first is the diagonal
    assert [line.get_label() for line in lines] == ["500 kB", "5.00 MB"]
    assert len({line.get_marker() for line in lines}) == 2
    assert len({line.get_linestyle() for line in lines}) == 2
    assert "[%]" in axes.get_xlabel()
    assert "[%]" in axes.get_ylabel()


def test_bars_of_where_transfers_fell_add_up(score):
    axes = pit_figure(score).axes[0]
    assert sum(bar.get_height() for bar in axes.patches) == pytest.approx(100)
    assert all(bar.get_hatch() for bar in axes.patches)


def test_bars_of_the_score_are_the_ratios(score):
    axes = score_figure(score).axes[0]
    model, independent, replay = axes.containers
    assert [bar.get_height() for bar in model] == pytest.approx(score.crps_ratio)
    expected = score.crps_ratio / score.crps_ratio_replay
    assert [bar.get_height() for bar in replay] == pytest.approx(expected)
    expected = score.crps_ratio / score.crps_ratio_marginal
    assert [bar.get_height() for bar in independent] == pytest.approx(expected)
    assert len({bars[0].get_hatch() for bars in axes.containers}) == 3
