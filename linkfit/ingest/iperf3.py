"""iperf3 output of any version, as JSON, as a JSON stream or as text, to a Trace."""

import re
from dataclasses import replace

from linkfit._checks import one_of
from linkfit.errors import TraceError
from linkfit.ingest import iperf3_json, iperf3_text
from linkfit.ingest.iperf3_run import Run
from linkfit.ingest.iperf3_samples import run_to_trace
from linkfit.ingest.trace import DIRECTIONS, Repair, Source, Trace

# possessive, and only within a line: linear even on megabytes of blanks
_JSON_HEAD = re.compile(
    r'^[ \t\ufeff\x00\[]*+\{\s*+"(?:start"\s*+:\s*+\{\s*+(?:"\w++"|\}|\Z)|'
    r'intervals"\s*+:\s*+\[|event"\s*+:\s*+"(?:start|interval|end|error|server_output))',
    re.MULTILINE,
)


def looks_like_iperf3(head: str) -> bool:
    """Whether the first characters of a file are iperf3's: JSON, a stream of events, or text."""
    return _JSON_HEAD.search(head) is not None or iperf3_text.looks_like_text(head)


def read_iperf3(text: str, source_name: str, sha256: str, *, direction: str | None = None) -> Trace:
    """Samples of every test in one iperf3 file, one Source a test.

    Parameters
    ----------
    text : str
        What iperf3 printed: JSON of any version (one report, several, a list, a stream of
        events, cut short), or its text for people.
    source_name, sha256 : str
        Name and checksum of the file it came from.
    direction : {"up", "down"}, optional
        Of the link. Without it the client is taken to sit at the link and the server in the
        internet: a client that sends is "up", one that receives (-R) is "down".

    Returns
    -------
    trace : Trace
        Throughput samples of at least 1 s (goodput), and TCP's round trips as loaded latency.

    Raises
    ------
    TraceError
        If no test in the file has a usable sample, or `direction` is given for a two-way test.
    """
    if direction is not None:
        one_of("direction", direction, DIRECTIONS)
    is_json = _JSON_HEAD.search(text) is not None or text.lstrip()[:1] in ("{", "[")
    try:
        runs = iperf3_json.read_runs(text) if is_json else iperf3_text.read_runs(text.splitlines())
    except TraceError as error:
        raise TraceError(f"{source_name}: {error}") from error
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
            skipped.append(_skipped(name, run, trace))
    if not traces:
        raise TraceError(_nothing_read(source_name, runs))
    merged = Trace.merge(traces)
    return replace(merged, repairs=(*merged.repairs, *skipped))


def _skipped(name: str, run: Run, trace: Trace) -> Repair:
    """Why a test gave no sample."""
    if run.error:
        text = f"the report holds no interval, only iperf3's error {run.error!r}"
        return Repair(source=name, kind="error report skipped", n_samples=1, text=text)
    reason = trace.repairs[-1].text if trace.repairs else "the report holds no whole interval"
    return Repair(source=name, kind="test without samples skipped", n_samples=1, text=reason)


def _nothing_read(source_name: str, runs: list[Run]) -> str:
    errors = [run.error for run in runs if run.error]
    if errors:
        return (
            f"{source_name}: expected an iperf3 test with intervals, got only iperf3's error "
            f"{errors[0]!r}; repeat the test when the server answers (iperf3 -J -c HOST -t 10)"
        )
    return (
        f"{source_name}: expected an iperf3 test with at least one usable interval, got "
        f"{len(runs)} without; run iperf3 -J -c HOST -t 10 and keep all that it prints"
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
        far_intervals=tuple(replace(interval, is_up=is_up) for interval in run.far_intervals),
        totals=tuple(replace(totals, is_up=is_up) for totals in run.totals[:1]),
    )
