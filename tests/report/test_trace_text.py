import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from rich.console import Console

from linkfit.ingest.summary import summarise
from linkfit.ingest.trace import Finding, LatencySamples, Repair, Source, Trace
from linkfit.report.trace_json import inspect_record
from linkfit.report.trace_text import hours_text, trace_text


def a_trace(**other):
    rates = Trace.from_rates(
        np.repeat([0.0, 4e6, 6e6], 30), direction="up", name="camp/up.csv",
        start=datetime(2026, 6, 15, 6, 59, tzinfo=UTC),
    )  # fmt: skip
    floor = Trace.from_rates([1e6] * 5, direction="down", name="down.csv", saturating=False)
    photos = Trace.from_transfers([1e6, 2e6], [2.0, 4.0], direction="up")
    probes = Trace(
        sources=(Source(name="ping.txt", format="ping text", peer="198.51.100.7"),),
        latency=LatencySamples(
            time_s=[1.781e9, 1.781e9 + 1], rtt_s=[0.05, np.inf], spread_s=[0, 0], n_probes=[1, 1],
            n_lost=[0, 1], loaded=[0, 0], source=[0, 0],
        ),
        repairs=(Repair(source="a/b.csv", kind="order", n_samples=3, text="3 rows sorted"),),
        findings=(Finding(source="c.csv", kind="trap", n_samples=1, text="beware \x1b[31m"),),
    )  # fmt: skip
    return Trace.merge([rates, floor, photos, probes])


def shown(trace, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in trace_text(summarise(trace)):
        console.print(part)
    return out.getvalue()


@pytest.mark.parametrize("width", [120, 40])
def test_everything_that_was_read_is_told_at_any_width(width):
    text = shown(a_trace(), width)
    assert max(map(len, text.splitlines())) <= width
    flat = " ".join(text.split())
    for part in (
        "4 sources read: 1 x ping text, 2 x rates, 1 x transfers",
        "far ends: 198.51.100.7",
        "rate up (server to internet), 90 s",
        "round trip, idle link, 50 % lost",
        "transfers up (server to internet), 1.00 MB to 2.00 MB: rate",
        "up: 33 % of samples carry 0",
        "down: 5 of 5 samples did not try for all they could get: lower bounds on the link",
        "b.csv: 3 rows sorted",
        "c.csv: beware \\x1b[31m",
        "lost",
    ):
        assert part in flat, part


def test_coverage_has_a_sign_for_each_hour_of_the_day():
    line = next(row for row in shown(a_trace()).splitlines() if row.startswith("up   "))
    assert line == "up   ......+-................|"  # a minute before 07:00, half a minute after
    assert "up: never measured at 0-6 h, 8-24 h" in shown(a_trace())


def test_without_a_clock_no_hour_is_told():
    text = shown(Trace.from_rates([1e6] * 20, direction="up"))
    assert "no time of day in any file" in text
    assert "hour of the day" not in text


@pytest.mark.parametrize(
    ("hours", "text"),
    [([0, 1, 2, 22], "0-3 h, 22-23 h"), ([5], "5-6 h"), (range(24), "any hour"), ([], "")],
)
def test_hours_as_stretches(hours, text):
    assert hours_text(list(hours)) == text


def test_the_record_is_json_with_infinity_as_null():
    trace = a_trace()
    record = inspect_record(trace, summarise(trace))
    assert record["schema"] == "linkfit/inspect/1"
    assert record["latency"][0]["rtt_s"]["p95"] is None
    assert record["formats"] == {"ping text": 1, "rates": 2, "transfers": 1}
    assert record["sources"][0]["name"] == "camp/up.csv"


def test_notes_of_one_kind_are_told_twice_and_then_counted():
    findings = tuple(
        Finding(source=f"d/{i}.json", kind="plateau", n_samples=1, text=f"d/{i}.json: flat at {i}")
        for i in range(5)
    )
    flat = " ".join(shown(Trace.merge([a_trace(), Trace(findings=findings)])).split())
    assert "0.json: flat at 0" in flat
    assert "1.json: flat at 1" in flat
    assert "flat at 2" not in flat
    assert "plateau: 3 more (all of them: --json)" in flat


def test_a_source_without_a_clock_does_not_date_the_rest():
    probes = LatencySamples(
        time_s=[3.0], rtt_s=[0.05], spread_s=[0], n_probes=[1], n_lost=[0], loaded=[1], source=[0]
    )
    bare = Trace(
        sources=(Source(name="old.txt", format="ping text", has_clock=False),), latency=probes
    )
    text = " ".join(shown(Trace.merge([a_trace(), bare]), 120).split())
    assert "1970" not in text.split("Measured at")[0]
    assert "sources without a time of day, which count for no hour and no day" in text


def test_what_a_finding_asks_for_is_named_as_an_option():
    asks = Finding(source="c.csv", kind="log", n_samples=1, text="say saturating=True if so")
    text = shown(replace(a_trace(), findings=(asks,)), 120)
    assert "c.csv: say --saturating if so" in text
