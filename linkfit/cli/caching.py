"""``linkfit caching``: how much of the uplink caches save, for each lifetime."""

from typing import Annotated

import typer

from linkfit.cli.options import AsJson, LinkFiles, Seed, Settings, SiteFile


def caching(
    site: SiteFile,
    links: LinkFiles = None,
    log: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help="The web server's own access log in Common Log Format; - is stdin. "
            "No address or path of it is kept.",
        ),
    ] = None,
    lifetime: Annotated[
        str | None, typer.Option(metavar="TIME", help='A lifetime to compare as well, "3 days".')
    ] = None,
    cache_size: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SIZE", help='Room of a shared cache, "50 MB"; again for each. Needs --log.'
        ),
    ] = None,
    settings: Settings = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """What share of the uplink caches save, by lifetime.

    What SITE sends and caches may keep, for lifetimes from an hour to a month; the hits by
    formula, or from the site's own requests with --log.

    The link is not needed: where it is given, it tells how busy the uplink is with each.
    """
    from linkfit.cli.caching_input import asked_caches, link_rate_bps
    from linkfit.cli.console import show, show_json
    from linkfit.cli.site_input import site_from
    from linkfit.report.caching_json import caching_record
    from linkfit.report.caching_text import caching_text

    given = site_from(site, tuple(links or ()), settings)
    answer = asked_caches(given, log=log, lifetime=lifetime, cache_sizes=cache_size, seed=seed)
    rate_bps = link_rate_bps(links, timezone=given.timezone, seed=seed)
    record = caching_record(given, answer, up_rate_bps=rate_bps, seed=seed)
    if as_json:
        show_json(record)
    else:
        show(*caching_text(record))
