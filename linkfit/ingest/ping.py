"""Ping text of any system and language to latency samples: one row a probe, lost ones too."""

import re
from collections.abc import Iterable, Iterator
from itertools import chain
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from linkfit.errors import TraceError
from linkfit.ingest.ping_lines import is_probe_line, read_line
from linkfit.ingest.ping_run import PingRun
from linkfit.ingest.ping_samples import run_to_trace
from linkfit.ingest.trace import Source, Trace

_LINE = re.compile(r"[^\r\n]+")
_UTC = ZoneInfo("UTC")


def looks_like_ping(head: str) -> bool:
    """Whether the first characters of a file are ping's, of any system and language."""
    is_ruled = False
    for line in (read_line(line, _UTC) for line in head.splitlines()[:100]):
        is_ruled |= line.kind == "rule"
        if line.kind in ("header", "reply"):
            return True
        if line.kind == "counts" and (line.is_windows or is_ruled):
            return True
    return False


def read_ping(
    text: str | Iterable[str], source_name: str, sha256: str, *, timezone: str = "UTC"
) -> Trace:
    """Latency samples of every ping run in one text, one Source a run.

    Parameters
    ----------
    text : str or iterable of lines
        What ping printed, in any language; one run or several. Lines are read one by one, so
        that a file larger than memory can be streamed.
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
    lines = _lines(text) if isinstance(text, str) else iter(text)
    first = next((line.strip() for line in lines if line.strip()), "")
    runs = _runs(chain([first], lines), zone)
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
        raise TraceError(
            f"{source_name}: expected ping output with answers or a summary, got {first[:80]!r}; "
            "run ping to a host that answers, for 100 probes or more"
        )
    return Trace.merge(traces)


def _lines(text: str) -> Iterator[str]:
    """The lines of `text`, without a last one that was cut before it said anything whole."""
    end = len(text)
    cut = max(text.rfind("\n"), text.rfind("\r")) + 1
    if cut < end and read_line(text[cut:], _UTC).kind not in ("reply", "counts", "round trips"):
        end = cut
    return (match[0] for match in _LINE.finditer(text, 0, end))


def _runs(lines: Iterable[str], zone: ZoneInfo) -> list[PingRun]:
    """The runs, cut at headers and where a sequence starts anew."""
    runs: list[PingRun] = []
    run: PingRun | None = None
    start_s: float | None = None
    for raw in lines:
        line = read_line(raw, zone)
        if line.kind == "start":
            if run is None or run.counts is not None:
                start_s, run = line.time_s, None
            continue
        takes_losses = run is not None and run.takes_losses
        if line.kind == "rule":
            continue
        if line.kind == "other" and not (takes_losses and is_probe_line(line)):
            continue
        if run is None or run.ends_before(line):
            run = PingRun(start_s=start_s)
            start_s = None
            runs.append(run)
        run.add(line)
    return [run for run in runs if run.has_probes or run.counts is not None]
