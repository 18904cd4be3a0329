"""The record of the answer about caches."""

import json

from linkfit.forecast.cache_answer import answer_caching
from linkfit.report.caching_json import caching_record
from linkfit.site.file import parse_site

SITE = parse_site(
    '[site]\nname = "x"\n[[service]]\nname = "s"\nkind = "photo-library"\nusers = 2\n'
)


def test_the_record_is_json_and_its_shares_add_up():
    record = caching_record(SITE, answer_caching(SITE), up_rate_bps=1e6, seed=0)
    assert json.loads(json.dumps(record)) == record
    assert record["schema"] == "linkfit/caching/1"
    capacity = 1e6 / 8 * 86400
    for row in record["lifetimes"]:
        busy = record["uplink_bytes_per_day"] * (1 - row["p50_saved_frac"]) / capacity
        assert abs(row["uplink_busy_frac"] / busy - 1) < 0.01


def test_without_a_link_busy_is_unknown():
    record = caching_record(SITE, answer_caching(SITE), up_rate_bps=None, seed=0)
    assert record["present"]["uplink_busy_frac"] is None
    assert record["log"] is None
