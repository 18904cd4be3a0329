"""Ping text of any system and language to latency samples: one row a probe, lost ones too."""

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from linkfit.errors import TraceError
from linkfit.ingest.ping_lines import is_probe_line, read_line
from linkfit.ingest.ping_run import PingRun, run_to_trace
from linkfit.ingest.trace import Source, Trace

_UTC = ZoneInfo("UTC")
_NAMES_RUN = ("header", "reply", "counts")


def looks_like_ping(head: str) -> bool:
    """Whether the first characters of a file are ping's, of any system and language."""
    return any(read_line(line, _UTC).kind in _NAMES_RUN for line in head.splitlines()[:100])


def read_ping(text: str, source_name: str, sha256: str, *, timezone: str = "UTC") -> Trace:
    """Latency samples of every ping run in one text, one Source a run.

    Parameters
    ----------
    text : str
        What ping printed, in any language; one run or several.
    source_name, sha256 : str
        Name and checksum of the file it came from.
    timezone : str
        Zone of date stamps that do not say theirs.

    Returns
    -------
    trace : Trace
        One row a probe, inf where no answer came; a run that printed only its summary is one
        row that stands for all its probes.

    Raises
    ------
    TraceError
        If the text holds no answer, no loss and no summary.

    Notes
    -----
    Sequence numbers that are missing between answers are losses. Where a run was cut short
    before its summary, what follows the last answer is unknown and left out.
    """
    try:
        zone = ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise TraceError(
            f"timezone: expected a name such as 'Europe/Lisbon' or 'UTC', got {timezone!r}"
        ) from error
    runs = [run for run in _runs(text, zone) if run.has_measured]
    traces = []
    for number, run in enumerate(runs, start=1):
        name = source_name if len(runs) == 1 else f"{source_name} run {number}"
        source = Source(
            name=name, format="ping text", sha256=sha256, peer=run.peer, has_clock=run.has_clock
        )
        trace = run_to_trace(run, source)
        if len(trace.latency):
            traces.append(trace)
    if not traces:
        first = next((line.strip() for line in text.splitlines() if line.strip()), "")
        raise TraceError(
            f"{source_name}: expected ping output with answers or a summary, got {first[:80]!r}; "
            "run ping to a host that answers, for 100 probes or more"
        )
    return Trace.merge(traces)


def _runs(text: str, zone: ZoneInfo) -> list[PingRun]:
    """The lines of each run, cut at headers and where a sequence starts anew."""
    runs: list[PingRun] = []
    run: PingRun | None = None
    start_s: float | None = None
    for raw in text.splitlines():
        line = read_line(raw, zone)
        if line.kind == "start":
            if run is None or run.counts is not None:
                start_s, run = line.time_s, None
            continue
        if line.kind == "other" and (
            run is None or not run.takes_losses or not is_probe_line(line)
        ):
            continue
        if run is None or run.ends_before(line):
            run = PingRun(start_s=start_s)
            start_s = None
            runs.append(run)
        run.add(line)
    return runs
