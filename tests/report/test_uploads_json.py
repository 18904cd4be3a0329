import json
import math

import numpy as np
import pytest

from linkfit.forecast.upload_ask import UploadAsk
from linkfit.forecast.uploads import forecast_uploads
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.uploads_json import finite, uploads_record


@pytest.fixture(scope="module")
def record():
    rates = np.random.default_rng(4).lognormal(np.log(6e6), 0.4, 600)
    link = fit_link(Trace.from_rates(rates, direction="up"), seed=0)
    ask = UploadAsk(size_bytes=2e9, n_items=3, total_timeout_s=60.0, body_limit_bytes=5e8)
    forecast = forecast_uploads(link, ask, seed=7, n_rows=20, n_draws=40)
    text = json.dumps(uploads_record(forecast, seed=7), allow_nan=False)
    return json.loads(text)


def test_it_says_what_was_asked(record):
    assert (record["schema"], record["seed"]) == ("linkfit/uploads/1", 7)
    assert (record["flow"], record["direction"]) == ("out", "up")
    assert record["path"]["total_timeout_s"] == 60.0


def test_percentiles_are_in_order_with_their_intervals(record):
    for found, unit in ((record["rate"], "bps"), (record["requests"][0]["time"], "s")):
        low, middle, high = (found[f"{p}_{unit}"] for p in ("p05", "p50", "p95"))
        assert low <= middle <= high
        assert found[f"p50_low_{unit}"] <= middle <= found[f"p50_high_{unit}"]


def test_what_never_ends_is_null(record):
    whole = record["one_item_whole"]
    assert whole["refused"]
    assert whole["time"]["p50_s"] is None
    assert whole["time"]["mean_s"] is None
    assert whole["never_frac"] == 1.0
    assert whole["passes_prob"] == 0.0
    assert finite(math.inf) is None


def test_the_three_answers_are_there(record):
    assert record["chunk"]["low_bytes"] <= record["chunk"]["chunk_bytes"]
    assert [row["n"] for row in record["at_once"]] == [1, 2, 3]
    assert record["best_at_once"]["n"] in (1, 2, 3)
    assert record["timeouts_to_set"]["total_s"] >= 30.0
    assert {row["timeout_s"] for row in record["timeouts"]} == {30.0, 60.0, 90.0, 120.0, 300.0}
