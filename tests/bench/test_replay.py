"""Drawing futures, against the floor of writing arrays of their size."""

import time

import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace

CASES = {
    "2000 futures of 10 minutes": {"n_draws": 2000, "horizon_s": 600.0},
    "one future of a day": {"n_draws": 1, "horizon_s": 86_400.0},
    "200 months in steps of 10 minutes": {
        "n_draws": 200,
        "horizon_s": 2_592_000.0,
        "step_s": 600.0,
    },
}


@pytest.fixture(scope="module")
def link():
    return lf.fit_link(Trace.from_rates(np.random.default_rng(0).lognormal(15, 0.5, 3000)))


@pytest.mark.parametrize("case", CASES)
def test_paths(benchmark, link, case):
    paths = benchmark(lambda: link.paths("up", rng=np.random.default_rng(1), **CASES[case]))
    start = time.perf_counter()
    np.cumsum(np.ones(paths.cumulative_bits.shape), axis=1)
    benchmark.extra_info["cumsum_of_ones_s"] = time.perf_counter() - start
    assert paths.n_draws == CASES[case]["n_draws"]
