"""``linkfit data``: data use of a billing cycle alone."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson, LinkFiles, Seed, SiteFile


def data(
    site: SiteFile,
    links: LinkFiles = None,
    plan: Annotated[
        str | None,
        typer.Option("--plan", "--cap", help='Another cap than the site file\'s, "100 GB".'),
    ] = None,
    used: Annotated[
        str | None, typer.Option(help='Used so far in this cycle, "31 GB"; needs --on.')
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="Day of --used, 2026-06-14 or 2026-06-14T18:00."),
    ] = None,
    task: Annotated[
        str | None,
        typer.Option(metavar="SERVICE/TASK", help="How often a day this may happen."),
    ] = None,
    slowed_to: Annotated[
        list[str] | None,
        typer.Option(metavar="RATE", help='What works after the cap at "128 kbit/s"; again.'),
    ] = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Data use of a billing cycle, and its causes.

    How much SITE uses, what spends it, what can go, when the plan runs out, which plan lasts.

    The link is needed for --slowed-to alone; where given, it bounds what backlogs can move.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.data_input import (
        given_link,
        measured_rates_bps,
        slowed_rates_bps,
        used_and_place,
        with_plan,
    )
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.data_answer import answer_data, with_slowed
    from linkfit.report.data_answer_text import data_answer_text
    from linkfit.report.data_json import data_answer_record

    given = with_plan(site_from(site, tuple(links or ())), plan)
    used_bytes, place = used_and_place(used, on, given)
    slow_bps = slowed_rates_bps(slowed_to, given, links)
    link = given_link(links, given, seed)
    answer = answer_data(
        given,
        seed=seed,
        mean_rates_bps=measured_rates_bps(link),
        place=place,
        used_bytes=used_bytes,
        task=task,
    )
    if link is not None and slow_bps:
        with working_on("slowing the link down"):
            answer = with_slowed(answer, link, slow_bps)
    record = data_answer_record(answer)
    if as_json:
        show_json(record)
    else:
        show(*data_answer_text(record))
