import io
import json

import pytest
from rich.console import Console

from linkfit.probe.nat_timer import NatTimer
from linkfit.probe.path_mtu import PathMtu
from linkfit.report.measure_json import measure_record
from linkfit.report.measure_text import measure_text
from tests.probe.test_tested_rates import report
from tests.report.test_measure_json import a_test, session


def shown(width=80, **given):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False)
    for part in measure_text(measure_record(session(**given), "kestrel")):
        console.print(part)
    return out.getvalue()


def test_rates_round_trips_and_cost_with_units():
    text = shown()
    assert "TCP up, 1 stream" in text
    assert "7.00 Mbit/s" in text
    assert "5.00 MB of 20.0 MB crossed wwan0" in text
    assert "1 of 3" in text
    assert "RFC 6598" in text
    assert "linkfit fit kestrel" in text


def test_what_stood_in_the_way_is_said_and_no_next_step_offered():
    text = shown(ended="failed", tests=(a_test("", error="refused"),), fault="nothing listens",
                 n_not_run=3)  # fmt: skip
    assert "In the way: nothing listens." in text
    assert "Tests not run: 3." in text
    assert "No test gave a figure" in text
    assert "linkfit fit" not in text


def test_a_black_hole_and_a_timer():
    timer = NatTimer(kept_s=60.0, gone_s=None, text="kept for 60 s at least")
    text = shown(120, path_mtu=PathMtu(mtu_bytes=1420, silent=True), nat_timer=timer)
    assert "1420 B" in text
    assert "vanish without a word" in text
    assert "kept for 60 s" in text


@pytest.mark.parametrize("ended", ["done", "budget", "interrupted", "failed", "unreachable"])
@pytest.mark.parametrize("width", [40, 80])
def test_every_end_fits_the_terminal(ended, width):
    text = shown(width, ended=ended)
    assert all(len(line) <= width for line in text.splitlines())


@pytest.mark.parametrize(
    ("ended", "says"),
    [("budget", "ended at the budget"), ("deadline", "no word from the server in time"),
     ("interrupted", "interrupted")],
)  # fmt: skip
def test_how_a_test_ended_is_said(ended, says):
    assert says in shown(140, tests=(a_test(report(1e6, 8e6), ended=ended),))


def test_datagrams_tell_loss_and_jitter():
    text = json.dumps({"end": {"sum": {"packets": 400, "lost_packets": 4, "jitter_ms": 2.5}}})
    assert "1 % lost, jitter 2.5 ms" in shown(120, tests=(a_test(text, udp_rate_bps=1e6),))


def test_hostile_text_from_a_server_is_harmless():
    text = shown(tests=(a_test("", error="\x1b[2Jgone\u202e"),), fault="\x1b]0;x\x07")
    assert "\x1b" not in text
    assert "\u202e" not in text
