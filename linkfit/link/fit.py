"""fit_link: from what was measured to what the link is like."""

import numpy as np

from linkfit.errors import FitError
from linkfit.ingest.trace import DIRECTIONS, Trace
from linkfit.link.latency import fit_latency
from linkfit.link.model import DirectionModel, LinkModel
from linkfit.link.series import measured_runs

MEAN_BLOCK_S = 300.0
_LEVEL_SIGMA_LONG = 0.1
_LEVEL_SIGMA_SHORT = 0.5


def fit_link(trace: Trace, *, seed: int = 0) -> LinkModel:
    """The model of the link that `trace` measured.

    Parameters
    ----------
    trace : Trace
        Any mix of throughput, latency and real transfers.
    seed : int
        For the parts of the fit that draw at random.

    Raises
    ------
    FitError
        If no direction was measured at all.
    """
    models = {direction: _fit_direction(trace, direction) for direction in DIRECTIONS}
    if all(model is None for model in models.values()):
        raise FitError(
            "trace: expected at least one saturating throughput sample, got none; "
            "run one speed test, or give a rate by hand"
        )
    missing = [f"no measurement of {name}load" for name, m in models.items() if m is None]
    latency = fit_latency(trace.latency)
    if latency is None:
        missing.append("no round trip measured")
    return LinkModel(
        up=models["up"],
        down=models["down"],
        latency=latency,
        sources=trace.sources,
        findings=trace.findings,
        missing=tuple(missing),
        seed=seed,
    )


def _fit_direction(trace: Trace, direction: str) -> DirectionModel | None:
    runs = measured_runs(trace, direction)
    if runs is None:
        return None
    # a level known from one test of 10 s is far less sure than one from an hour
    seconds = float(runs.rates_bps.size)
    share = np.clip(np.log(seconds / 10.0) / np.log(360.0), 0.0, 1.0)
    sigma = _LEVEL_SIGMA_SHORT + share * (_LEVEL_SIGMA_LONG - _LEVEL_SIGMA_SHORT)
    return DirectionModel(runs=runs, mean_block_s=MEAN_BLOCK_S, level_sigma=float(sigma))
