import json

import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.report.backtest_json import backtest_record


def test_the_record_repeats_the_score_and_is_plain():
    rates = 5e6 * np.exp(0.3 * np.random.default_rng(1).standard_normal(200))
    score = lf.backtest(Trace.from_rates(rates), sizes_bytes=[5e5, 5e6], n_transfers=30)
    record = backtest_record(score, train_frac=0.6, n_origins=1, seed=0)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    for k, entry in enumerate(record["sizes"]):
        assert entry["size_bytes"] == entry["low_bytes"] == entry["high_bytes"]
        assert entry["crps_ratio_replay"] == score.crps_ratio_replay[k]
    levels = [point["nominal_frac"] for point in record["calibration"]]
    covered = [point["covered_frac"] for point in record["calibration"]]
    assert levels == pytest.approx(np.linspace(0.05, 0.95, 19))
    assert (np.diff(covered) >= 0).all()
    # the curve and the interval of that name tell the same, up to ties between draws
    assert covered[17] == pytest.approx(record["coverage_90_frac"], abs=0.02)
