"""``linkfit status``: what a recorder's store tells of now."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson, Seed


def status(
    store: Annotated[str, typer.Argument(metavar="STORE", help="File of linkfit record.")],
    cap: Annotated[
        str | None, typer.Option(metavar="SIZE", help='Of the data plan, "60 GB".')
    ] = None,
    cycle_day: Annotated[
        int | None,
        typer.Option(min=1, max=31, help="Day of the month on which a cycle begins.  [1]"),
    ] = None,
    timezone: Annotated[
        str | None, typer.Option(help="Whose midnight begins a cycle.  [UTC]")
    ] = None,
    site: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Site file whose plan and zone hold where not given."),
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(metavar="MOMENT", help="As of then, 2026-06-14T18:00 in that zone; now."),
    ] = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Show whether a recorder runs, what is used, and whether the link has changed.

    Use is compared with the cap, with the date on which it will be used up; a change of the
    link's daily medians is told with its date, and says when to fit again.
    """
    from pathlib import Path

    from linkfit.cli.console import show, show_json
    from linkfit.cli.status_input import status_terms
    from linkfit.probe.status import status_of
    from linkfit.report.status_json import status_record
    from linkfit.report.status_text import status_text

    terms = status_terms(cap=cap, cycle_day=cycle_day, timezone=timezone, site=site, on=on)
    found = status_of(
        Path(store), now_s=terms.now_s, cycle_day=terms.cycle_day, zone=terms.zone,
        cap_bytes=terms.cap_bytes, counted=terms.counted, seed=seed,
    )  # fmt: skip
    record = status_record(found)
    if as_json:
        show_json(record)
    else:
        show(*status_text(record, terms.zone))
