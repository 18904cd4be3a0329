"""``linkfit data``: data use of a billing cycle alone."""

from dataclasses import replace
from typing import Annotated

import typer

from linkfit.cli.options import AsJson, LinkFiles, Seed, SiteFile


def data(
    site: SiteFile,
    links: LinkFiles = None,
    cap: Annotated[
        str | None, typer.Option(help='Another cap than the site file\'s, "100 GB".')
    ] = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Data use of a billing cycle, and its causes.

    How much SITE uses, what spends it, and when the plan runs out.

    The link is not needed: where it is given, it bounds what backlogs can move in the cycle.
    """
    from linkfit.cli.console import show, show_json
    from linkfit.cli.link_input import mean_rates_bps
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.data_use import forecast_data
    from linkfit.forecast.plan_use import smallest_plan_bytes
    from linkfit.report.data_json import data_record
    from linkfit.report.data_text import data_text
    from linkfit.units import parse_size_bytes

    given = site_from(site, tuple(links or ()))
    if cap is not None:
        plan = replace(given.plan, cap_bytes=parse_size_bytes(cap, where="--cap"))
        given = replace(given, plan=plan)
    rates_bps = mean_rates_bps(links, timezone=given.timezone, seed=seed)
    forecast = forecast_data(given, seed=seed, mean_rates_bps=rates_bps)
    record = data_record(forecast)
    record["smallest_plan_bytes"] = smallest_plan_bytes(forecast.cap_needed or forecast.use)
    if as_json:
        show_json({"schema": "linkfit/data/1", "seed": seed, "site": given.name, "data": record})
    else:
        show(*data_text(record))
