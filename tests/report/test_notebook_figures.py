import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.evaluation import evaluate
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.notebook_figures import (
    evaluation_figure,
    forecast_figure,
    link_figure,
    trace_figure,
)
from linkfit.site.file import parse_site

SITE = '[site]\nname = "s"\n[[service]]\nname = "chat"\nkind = "chat"\nusers = 2\n'


def forecast(values, unit="s"):
    return Forecast(draws=np.array(values), unit=unit, world=np.zeros(len(values), np.int32))


def axes_of(figure):
    (axes,) = figure.axes
    return axes


def test_a_trace_is_drawn_in_its_first_measured_direction(rng):
    down = Trace.from_rates(rng.lognormal(16, 0.3, 90), direction="down")
    assert "down" in axes_of(trace_figure(down)).get_title("left")


def test_a_trace_without_rates_is_refused():
    transfers = Trace.from_transfers([1e6], [1.0])
    with pytest.raises(InputError, match="saturating samples of either direction, got none"):
        trace_figure(transfers)
    with pytest.raises(InputError, match="saturating samples of up, got none"):
        trace_figure(Trace.from_rates([1e6] * 9, direction="down"), "up")


def test_a_link_is_drawn_measured_and_modelled(rng):
    link = fit_link(Trace.from_rates(rng.lognormal(15, 0.3, 90)))
    assert len(axes_of(link_figure(link)).lines) >= 2


@pytest.mark.parametrize(
    ("values", "unit", "shown"),
    [
        ([1.0, 30.0, 40.0], "s", "time [s]"),
        ([0.1, 0.3, 0.4], "s", "time [ms]"),
        ([1e3, 1e4, 2e4], "s", "time [h]"),
        ([1e6, 3e6, 4e6], "bit/s", "rate [Mbit/s]"),
        ([1e9, 3e9, 4e9], "bytes", "data [GB]"),
        ([1.0, 2.0, 3.0], "users", "[users]"),
    ],
)
def test_the_axis_has_a_unit_that_suits(values, unit, shown):
    axes = axes_of(forecast_figure(forecast(values, unit)))
    assert axes.get_xlabel() == shown
    largest = max(line.get_xdata().max() for line in axes.lines)
    assert 2 <= largest < 1000


def test_what_never_happens_is_drawn_as_a_chance_below_certainty():
    axes = axes_of(forecast_figure(forecast([1.0, 2.0, np.inf, np.inf])))
    assert axes.lines[0].get_ydata().max() == 50


def test_all_never_is_an_empty_figure_not_an_error():
    axes = axes_of(forecast_figure(forecast([np.inf])))
    assert axes.get_xlabel() == "time [s]"
    assert [line.get_label() for line in axes.lines] == ["never, in any draw"]


def test_an_evaluation_has_a_row_a_task_with_a_target():
    link = fit_link(Trace.from_quick_numbers(up_bps=5e6, down_bps=2e7, rtt_s=0.05))
    evaluation = evaluate(parse_site(SITE), link, n_probes=100)
    n_targets = sum(t.task.target_s is not None for s in evaluation.services for t in s.tasks)
    assert len(axes_of(evaluation_figure(evaluation)).texts) == n_targets


def test_an_evaluation_without_targets_is_refused():
    link = fit_link(Trace.from_quick_numbers(up_bps=5e6))
    evaluation = evaluate(parse_site('[site]\nname = "s"\n'), link, n_probes=100)
    with pytest.raises(InputError, match="expected a task with a target, got none"):
        evaluation_figure(evaluation)
