"""Fits against the floor of one pass of logarithms over the same values, in the same run."""

import time

import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.estimation import fit_family
from linkfit.link.families import FAMILIES, draw

N = 100_000
PARAMETERS = {
    "lognormal": (0.6, 3e6),
    "gamma": (2.3, 1.7e6),
    "weibull": (1.4, 2.5e6),
    "log-logistic": (2.5, 4e6),
    "burr12": (2.2, 1.4, 3e6),
    "two lognormals": (0.3, 0.3, 0.5e6, 0.4, 5e6),
}


@pytest.mark.parametrize("name", FAMILIES)
def test_family(benchmark, name, rng):
    x = draw(FAMILIES[name], PARAMETERS[name], N, rng)
    fitted = benchmark(fit_family, name, x)
    benchmark.extra_info["passes_of_log"] = _ratio_to_log(name, x)
    assert fitted.n_values == N


def _ratio_to_log(name, x):
    """Best of five of the fit over best of five of one np.log of the values."""
    seconds = []
    for call in (lambda: fit_family(name, x), lambda: np.log(x)):
        best = np.inf
        for _ in range(5):
            start = time.perf_counter()
            call()
            best = min(best, time.perf_counter() - start)
        seconds.append(best)
    return seconds[0] / seconds[1]


def test_fit_link_of_ten_minutes(benchmark, rng):
    trace = Trace.from_rates(rng.lognormal(15, 0.5, 600))
    link = benchmark.pedantic(lf.fit_link, args=(trace,), rounds=3)
    assert link.up.measured_s == 600
