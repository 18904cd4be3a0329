import numpy as np

from linkfit.link.latency import LatencyModel
from linkfit.report.link_curves import Comparison
from linkfit.report.page.link_curve_figures import distribution_figure, latency_figure


def latency(loaded):
    return LatencyModel(idle_rtts_s=np.linspace(0.03, 0.2, 201), loaded_rtts_s=loaded,
                        loss_frac=0.0, n_idle=99, n_loaded=0)  # fmt: skip


def test_idle_and_busy_differ_in_more_than_colour():
    axes = latency_figure(latency(np.linspace(0.1, 2.0, 201))).axes[0]
    assert len({line.get_linestyle() for line in axes.lines}) == 2
    assert [text.get_text() for text in axes.texts] == ["idle", "busy"]


def test_what_was_not_measured_is_not_drawn():
    assert len(latency_figure(latency(None)).axes[0].lines) == 1


def test_the_distribution_is_in_percent_of_seconds():
    levels = np.array([0.1, 0.5, 0.9])
    rates = np.array([1e6, 2e6, 4e6])
    curve = Comparison(x=levels, measured_values=rates, model_values=rates, low_values=rates * 0.9,
                       high_values=rates * 1.1)  # fmt: skip
    axes = distribution_figure(curve, "up").axes[0]
    assert list(axes.lines[0].get_ydata()) == [10.0, 50.0, 90.0]
    assert list(axes.lines[0].get_xdata()) == [1.0, 2.0, 4.0]
