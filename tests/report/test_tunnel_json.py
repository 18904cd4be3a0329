import json

import numpy as np

from linkfit.forecast.keepalive import forecast_keepalive
from linkfit.forecast.tunnel import safe_sizes, tunnel_sizes
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.tunnel_json import tunnel_record


def test_everything_said_is_in_the_record():
    rates = np.random.default_rng(4).lognormal(np.log(6e6), 0.4, 600)
    link = fit_link(Trace.from_rates(rates, direction="up"), seed=0)
    found = forecast_keepalive(link, timer_s=60.0, n_rows=40)
    made = tunnel_record(
        found, tunnel_sizes(), safe_sizes(60.0), seed=3, translated=(None, "public"), cap_bytes=6e10
    )
    record = json.loads(json.dumps(made, allow_nan=False))
    assert (record["schema"], record["seed"]) == ("linkfit/tunnel/1", 3)
    assert record["keepalive_s"] == 48.0
    assert record["keepalive_one_lost_does_no_harm_s"] == 24.0
    assert record["nat_timer_measured"] is True
    assert record["address_translation"] == {"found": None, "why": "public"}
    row = next(row for row in record["intervals"] if row["interval_s"] == 48.0)
    assert row["holds"]
    assert row["month"]["p05_bytes"] < row["month"]["p50_bytes"] < row["month"]["p95_bytes"]
    assert row["expires_low_prob"] <= row["expires_prob"] <= row["expires_high_prob"]
    assert record["sizes"]["inner_mtu_bytes"] == 1440.0
    assert record["sizes_that_pass_everywhere"]["mss_ipv6_bytes"] == 1220.0
