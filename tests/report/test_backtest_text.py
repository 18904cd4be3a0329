import io

import numpy as np
import pytest
from rich.console import Console

import linkfit as lf
from linkfit.forecast.backtest_scores import BASELINES, compared, summarised
from linkfit.ingest.trace import Trace
from linkfit.report.backtest_text import backtest_text, size_names, verdict

DRAWS = np.arange(1.0, 102.0)


def made(observed_s, low_bytes=1e6, high_bytes=1e6):
    """A score of transfers that took `observed_s`, forecast as 1 to 101 s."""
    observed = np.asarray(observed_s, float)
    simple = {name: np.array([51.0]) for name in BASELINES}
    one = compared(1e6, "up", np.arange(observed.size), observed, DRAWS, simple)
    bounds = np.array([[low_bytes, high_bytes]])
    return summarised([[one]], bounds, real_transfers=low_bytes < high_bytes)


def shown(score, width=100):
    console = Console(file=io.StringIO(), width=width)
    for part in backtest_text(score):
        console.print(part)
    return console.file.getvalue()


@pytest.mark.parametrize(
    ("observed_s", "said"),
    [
        (np.linspace(2, 100, 50), "about what they promise"),
        (np.full(20, 200.0), "held 0 % of 20 transfers: they are too narrow"),
        (np.full(20, 51.0), "held 100 % of 20 transfers: they are wider than they need be"),
    ],
)
def test_the_verdict_follows_the_coverage(observed_s, said):
    assert said in verdict(made(observed_s))


def test_a_class_is_named_by_its_ends():
    assert size_names(made([5.0])) == ["1.00 MB"]
    assert size_names(made([5.0], 3e5, 9e5)) == ["300 kB to 900 kB"]


def test_the_kind_of_transfer_is_said():
    assert "Transfers over the measured rates" in shown(made([5.0, 50.0]))
    assert "Measured transfers" in shown(made([5.0, 50.0], 3e5, 9e5))


@pytest.mark.parametrize("width", [40, 80, 120])
def test_all_figures_are_there_at_any_width(width):
    out = shown(made([51.0, 51.0, 200.0, 20.0]), width)
    assert "75 %" in out  # 90 % interval
    for name in BASELINES:
        assert name in " ".join(out.split())
    assert max(len(line) for line in out.splitlines()) <= width


def test_a_real_backtest_is_shown():
    rates = 5e6 * np.exp(0.3 * np.random.default_rng(1).standard_normal(200))
    out = shown(lf.backtest(Trace.from_rates(rates), sizes_bytes=[5e5, 5e6], n_transfers=30))
    assert "500 kB" in out
    assert "5.00 MB" in out
