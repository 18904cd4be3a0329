import json

import pytest

from linkfit.probe.tested_rates import datagrams_of, rates_tested_bps


def report(*rates_bps):
    """As iperf3 3.x lays out a report; numbers invented."""
    rows = [
        {"streams": [], "sum": {"start": i, "end": i + 1, "seconds": 1.0, "bytes": rate / 8,
                                "bits_per_second": rate, "omitted": False, "sender": True}}
        for i, rate in enumerate(rates_bps)
    ]  # fmt: skip
    start = {"connected": [], "version": "iperf 3.12",
             "timestamp": {"time": "x", "timesecs": 1_780_000_000},
             "test_start": {"protocol": "TCP", "num_streams": 1, "reverse": 0, "duration": 3},
    }  # fmt: skip
    return json.dumps({"start": start, "intervals": rows, "end": {}})


def test_the_rates_after_slow_start():
    assert rates_tested_bps(report(1e6, 8e6, 6e6)).tolist() == pytest.approx([8e6, 6e6])


@pytest.mark.parametrize("text", ["", '{"error": "refused"}', '{"start": {}', "not JSON"])
def test_what_holds_no_rate_gives_none(text):
    assert rates_tested_bps(text).size == 0


def ended(**told):
    return json.dumps(
        {"end": {"sum": {"packets": 400, "lost_packets": 4, "jitter_ms": 2.5, **told}}}
    )


def test_jitter_and_loss_of_datagrams():
    found = datagrams_of(ended())
    assert (found.jitter_s, found.loss_frac) == (0.0025, 0.01)


@pytest.mark.parametrize(
    "text",
    ["", "[]", '{"end": {}}', '{"end": {"sum": {"packets": 0}}}', ended(packets=0),
     ended(packets=3),
     ended(jitter_ms=-1), ended(lost_packets="x"), ended(jitter_ms=float("inf"))],
)  # fmt: skip
def test_what_tells_nothing_of_datagrams(text):
    assert datagrams_of(text) is None
