import json

import numpy as np
import pytest

from linkfit.advice.compared_links import NamedLink
from linkfit.advice.comparison import compare_links
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.compare_json import SCHEMA, compare_record


def found(*medians_bps, saturating=True):
    rng = np.random.default_rng(5)
    links = [
        NamedLink(
            name=f"link {i}",
            link=fit_link(
                Trace.from_rates(
                    rng.lognormal(np.log(m), 0.4, 300), layer="ip", saturating=saturating
                )
            ),
        )
        for i, m in enumerate(medians_bps)
    ]
    return compare_links(links, seed=3)


def test_differences_are_of_the_second_against_the_first():
    record = compare_record(found(2e6, 8e6))
    (pair,) = record["pairs"]
    up, down = pair["rates"]
    assert (record["schema"], record["seed"], pair["first"]) == (SCHEMA, 3, "link 0")
    for key in ("p05", "p50", "p95", "mean"):
        row = up[key]
        assert row["difference_bps"] == pytest.approx(
            row["second_bps"] - row["first_bps"], rel=2e-3
        )
        assert row["low_bps"] <= row["difference_bps"] <= row["high_bps"]
    assert down["why_not"]
    assert "p50" not in down


def test_what_was_not_asked_for_is_null():
    record = compare_record(found(2e6, 8e6, 9e6))
    assert record["site"] is None
    assert len(record["pairs"]) == 2
    for link in record["links"]:
        assert (link["prob_best"], link["n_fit"], link["cost_per_month"]) == (None,) * 3
        assert link["services"] == []


def test_lower_bounds_leave_nothing_to_tell():
    (pair,) = compare_record(found(2e6, 8e6, saturating=False))["pairs"]
    assert pair["difference_is_real"] is None


def test_it_is_json_everywhere():
    json.dumps(compare_record(found(2e6, 2e6)), allow_nan=False)
