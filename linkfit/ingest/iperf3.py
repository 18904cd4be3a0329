"""iperf3 output of any version, as JSON, as a JSON stream or as text, to a Trace."""

import re
from dataclasses import replace

from linkfit._checks import one_of
from linkfit.errors import TraceError
from linkfit.ingest import iperf3_json
from linkfit.ingest.iperf3_run import Run
from linkfit.ingest.iperf3_samples import run_to_trace
from linkfit.ingest.trace import DIRECTIONS, Source, Trace

_JSON_HEAD = re.compile(
    r'\A[\s\ufeff\x00]*\[?\s*\{\s*"(?:start|intervals|event|error|title)"\s*:', re.ASCII
)


def looks_like_iperf3(head: str) -> bool:
    """Whether the first characters of a file are iperf3's, JSON or text."""
    return _JSON_HEAD.match(head) is not None


def read_iperf3(text: str, source_name: str, sha256: str, *, direction: str | None = None) -> Trace:
    """Samples of every test in one iperf3 file, one Source a test."""
    if direction is not None:
        one_of("direction", direction, DIRECTIONS)
    runs = iperf3_json.read_runs(text)
    if direction is not None:
        runs = [_turned(run, source_name, is_up=direction == "up") for run in runs]
    traces, skipped = [], []
    for number, run in enumerate(runs, start=1):
        name = source_name if len(runs) == 1 else f"{source_name} test {number}"
        source = Source(
            name=name, format=run.format, sha256=sha256, peer=run.peer,
            has_clock=run.started_s is not None,
        )  # fmt: skip
        trace = run_to_trace(run, source)
        if len(trace.throughput) or len(trace.latency):
            traces.append(trace)
        else:
            skipped.append((name, run))
    if not traces:
        raise TraceError(_nothing_read(source_name, [run for _, run in skipped]))
    return Trace.merge(traces)


def _nothing_read(source_name: str, runs: list[Run]) -> str:
    errors = [run.error for run in runs if run.error]
    if errors:
        return (
            f"{source_name}: expected an iperf3 test with intervals, got only iperf3's error "
            f"{errors[0]!r}; repeat the test once the server answers"
        )
    return (
        f"{source_name}: expected an iperf3 test with at least one whole interval, got none; "
        "run iperf3 -J for 10 s or more and keep its whole output"
    )


def _turned(run: Run, source_name: str, *, is_up: bool) -> Run:
    """The run with all its bytes in the direction that the caller names."""
    if len({interval.is_up for interval in run.intervals}) > 1:
        raise TraceError(
            f"{source_name}: expected a one-way test where direction is given, got one that "
            "sends both ways at once; leave direction out: the report says which is which"
        )
    return replace(
        run,
        intervals=tuple(replace(interval, is_up=is_up) for interval in run.intervals),
        totals=tuple(replace(totals, is_up=is_up) for totals in run.totals[:1]),
    )
