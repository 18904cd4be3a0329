"""``linkfit fit``: the model of a link, and how well it fits."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    DurationField,
    FiguresFolder,
    RowLength,
    Saturating,
    Seed,
    Timezone,
    TraceFiles,
    Units,
)


def fit(
    traces: TraceFiles,
    output: Annotated[
        str | None, typer.Option("--output", "-o", metavar="FILE", help="Save the model as JSON.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Put the saved model in place of a file there.")
    ] = False,
    figures: FiguresFolder = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    row_length: RowLength = None,
    saturating: Saturating = None,
    duration_field: DurationField = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Fit a link model and show how well it fits.

    The saved model can stand wherever a LINK is asked for.
    """
    from linkfit.cli.console import show, show_json, tell
    from linkfit.cli.figures import write_link
    from linkfit.cli.files import check_free
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.report.link_json import fit_record
    from linkfit.report.link_text import link_text

    if output is not None:
        check_free(output, replace=replace)
    given = trace_input(
        traces, direction, columns, units, timezone or "UTC", row_length, saturating, duration_field
    )
    link = link_from(given, QuickNumbers(), seed=seed, families=True)
    if output is not None:  # first: a result that was shown is one that was saved
        link.save(output)
        tell(f"model saved as {output}")
    if as_json:
        show_json(fit_record(link))
    else:
        show(*link_text(link))
    if figures is not None:
        write_link(link, figures, seed=seed)
