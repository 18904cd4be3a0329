"""``linkfit photos``: which size and encoder to store pictures in."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    Down,
    LinkFiles,
    Rtt,
    Seed,
    Settings,
    SiteFile,
    Timezone,
    Units,
    Up,
)


def photos(
    site: SiteFile,
    links: LinkFiles = None,
    edge: Annotated[
        list[int] | None,
        typer.Option(min=16, max=100_000, help="A long edge in pixels to compare as well."),
    ] = None,
    quality: Annotated[
        int | None, typer.Option(min=1, max=100, help="Encoder quality of what is compared.")
    ] = None,
    settings: Settings = None,
    down: Down = None,
    up: Up = None,
    rtt: Rtt = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Which size to store pictures in.

    For each task of SITE that sends stored pictures: bytes, time, users and data of a cycle for
    several long edges and encoders, against the present ones.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.evaluation import Evaluator
    from linkfit.forecast.photo_choices import photo_tables
    from linkfit.report.photos_json import photos_record
    from linkfit.report.photos_text import photos_text

    given = site_from(site, tuple(links or ()), settings)
    link = link_from(
        trace_input(links, direction, columns, units, timezone or given.timezone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    with working_on("comparing sizes of pictures"):
        maker = Evaluator(link, seed=seed)
        tables = photo_tables(given, maker, edges_px=tuple(edge or ()), quality=quality)
    record = photos_record(given, tables, seed=seed, asked_px=edge or ())
    if as_json:
        show_json(record)
    else:
        show(*photos_text(record))
