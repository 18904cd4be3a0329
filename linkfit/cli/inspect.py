"""``linkfit inspect``: what measurements hold, before anything is fitted to them."""

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    DurationField,
    RowLength,
    Saturating,
    Timezone,
    TraceFiles,
    Units,
)


def inspect(
    traces: TraceFiles,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    row_length: RowLength = None,
    saturating: Saturating = None,
    duration_field: DurationField = None,
    as_json: AsJson = False,
) -> None:
    """Show what measurement files hold.

    What was read, repairs, coverage by hour, gaps, and traps seen.
    """
    from linkfit.cli.console import show, show_json
    from linkfit.cli.link_input import read_traces, trace_input
    from linkfit.ingest.summary import summarise
    from linkfit.report.trace_json import inspect_record
    from linkfit.report.trace_text import trace_text

    trace = read_traces(
        trace_input(
            traces,
            direction,
            columns,
            units,
            timezone or "UTC",
            row_length,
            saturating,
            duration_field,
        )
    )
    summary = summarise(trace)
    if as_json:
        show_json(inspect_record(trace, summary))
    else:
        show(*trace_text(summary))
