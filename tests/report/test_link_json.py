import json

import numpy as np
import pytest

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.link_json import fit_record


def test_the_record_holds_the_figures_of_the_model():
    rates = np.random.default_rng(5).lognormal(np.log(5e6), 0.4, 300)
    up = Trace.from_rates(rates, direction="up")
    record = fit_record(
        fit_link(Trace.merge([up, Trace.from_quick_numbers(up_bps=5e6, rtt_s=0.05)]), seed=4)
    )
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert (record["schema"], record["seed"], record["down"]) == ("linkfit/fit/1", 4, None)
    assert record["up"]["p05_bps"] < record["up"]["p50_bps"] < record["up"]["p95_bps"]
    assert record["up"]["families"][0]["name"]
    assert len(record["up"]["daily"]["factor"]) == 24
    assert record["latency"]["idle_p50_s"] == pytest.approx(0.05)
    assert record["latency"]["loaded_p50_s"] is None
    assert record["latency"]["random_loss_frac"] is None  # one probe tells no loss
    assert record["latency"]["mean_burst_probes"] is None
