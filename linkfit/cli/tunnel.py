"""``linkfit tunnel``: how often a tunnel says hello, what that costs, which sizes fit."""

from typing import TYPE_CHECKING, Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    Down,
    LinkFiles,
    Rtt,
    Seed,
    Timezone,
    Units,
    Up,
)

if TYPE_CHECKING:
    from linkfit.forecast.tunnel import TunnelSizes
    from linkfit.site.model import Site


def tunnel(
    links: LinkFiles = None,
    site: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Site file: its path, its hours, its plan."),
    ] = None,
    nat_timer: Annotated[
        str | None,
        typer.Option(help='How long the carrier keeps a silent mapping, as measured, "30 s".'),
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(help="udp, or tcp for a tunnel of TLS over TCP; the site's, else udp."),
    ] = None,
    mtu: Annotated[
        str | None,
        typer.Option(help='Largest packet on the link, tunnel included, "1420 B"; else 1500 B.'),
    ] = None,
    ipv6: Annotated[bool, typer.Option("--ipv6", help="The tunnel runs over IPv6.")] = False,
    wan_address: Annotated[
        str | None, typer.Option(help="The address that the carrier gave the router.")
    ] = None,
    seen_address: Annotated[
        str | None, typer.Option(help="The address at which a host outside sees it.")
    ] = None,
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
    """A tunnel out of a carrier's network.

    How often it must say hello, what that costs a month, how often it is out of reach all the
    same, and which packet sizes fit through it.
    """
    from linkfit.addresses import is_translated
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.forecast.keepalive import forecast_keepalive
    from linkfit.forecast.tunnel import safe_sizes
    from linkfit.report.tunnel_json import tunnel_record
    from linkfit.report.tunnel_text import tunnel_text
    from linkfit.units import parse_duration_s

    given = _site(site, tuple(links or ()))
    timer_s = None if nat_timer is None else parse_duration_s(nat_timer, where="--nat-timer")
    sizes = _sizes(given, mtu, ipv6)
    found = None if wan_address is None else is_translated(wan_address, seen_address)
    files = trace_input(links, direction, columns, units, timezone or given.timezone)
    link = link_from(files, QuickNumbers(down=down, up=up, rtt=rtt), seed=seed)
    with working_on("saying hello in possible futures"):
        keepalive = forecast_keepalive(
            link, timer_s=timer_s, transport=over or given.path.tunnel,
            ip_version=6 if ipv6 else 4, seed=seed,
            present_s=given.path.keepalive_s, hours_per_day=_hours_per_day(given),
        )  # fmt: skip
    safe, cap_bytes = safe_sizes(sizes.overhead_bytes), given.plan.cap_bytes
    if as_json:
        show_json(tunnel_record(keepalive, sizes, safe, seed=seed, translated=found,
                                cap_bytes=cap_bytes))  # fmt: skip
    else:
        show(*tunnel_text(keepalive, sizes, safe, translated=found, cap_bytes=cap_bytes))


def _site(path: str | None, link_paths: tuple[str, ...]) -> "Site":
    """The site, or one of which nothing is known."""
    from linkfit.cli.site_input import site_from
    from linkfit.site.model import Site

    return Site(name="no site") if path is None else site_from(path, link_paths)


def _sizes(site: "Site", mtu: str | None, ipv6: bool) -> "TunnelSizes":
    """Sizes from the options, else from the site, else those of common links."""
    from linkfit.forecast.tunnel import tunnel_sizes
    from linkfit.units import parse_size_bytes

    mtu_bytes = site.path.mtu_bytes if mtu is None else parse_size_bytes(mtu, where="--mtu")
    own_bytes = site.path.tunnel_overhead_bytes
    return tunnel_sizes(
        mtu_bytes=mtu_bytes,
        ip_version=6 if ipv6 else 4,
        overhead_bytes=None if ipv6 or not own_bytes else own_bytes,
    )


def _hours_per_day(site: "Site") -> float:
    """Hours a day in which clock and battery let the server run. [h]"""
    from linkfit.forecast.hours import open_frac, site_intervals

    return 24.0 * open_frac(site_intervals(site.hours))
